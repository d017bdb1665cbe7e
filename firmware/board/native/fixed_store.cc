// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/native/fixed_store.h"

namespace firmware {

FixedStore::FixedStore(const Options& options) : boot_(options.boot) {
  identity_.jig_id = options.jig_id;
  identity_.firmware = "steadyrail-virtual-jig " STEADYRAIL_VERSION;
}

}  // namespace firmware
