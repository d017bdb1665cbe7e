// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/native/fixed_store.h"

namespace firmware {

FixedStore::FixedStore(const Options& options) : boot_(options.boot), state_(options.store) {
  identity_.jig_id = options.jig_id;
  identity_.firmware = "steadyrail-virtual-jig " STEADYRAIL_VERSION;
}

Stored FixedStore::store_calibration(std::string_view calibration_id, std::span<const std::byte> content,
                                     bool may_erase) {
  if (state_ == StoreState::kWorn) return Stored::kFailed;
  if (state_ == StoreState::kFull && !may_erase) return Stored::kEraseNeeded;
  state_ = StoreState::kSound;
  return RamStore::store_calibration(calibration_id, content, may_erase);
}

}  // namespace firmware
