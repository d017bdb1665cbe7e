// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/native/fixed_store.h"

#include "firmware/board/reference_channels.h"

namespace firmware {

FixedStore::FixedStore(const Options& options) : boot_(options.boot) {
  identity_.jig_id = options.jig_id;
  identity_.firmware = "steadyrail-virtual-jig " STEADYRAIL_VERSION;
  use_reference_channels(identity_);
  identity_.simulated = true;  // scans reach this board from a simulated supply only
}

}  // namespace firmware
