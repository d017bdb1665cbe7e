// SPDX-License-Identifier: Apache-2.0
// Identity of the virtual jig: the reference jig's channel table, and no calibration of its own at first.
#pragma once

#include "firmware/board/native/options.h"
#include "firmware/board/ram_store.h"

namespace firmware {

class FixedStore : public RamStore {
 public:
  /// `options` must outlive the store.
  explicit FixedStore(const Options& options);

  std::uint32_t boot_count() const override { return boot_; }
  Stored store_calibration(std::string_view calibration_id, std::span<const std::byte> content,
                           bool may_erase) override;

 private:
  std::uint32_t boot_;
  StoreState state_;
};

}  // namespace firmware
