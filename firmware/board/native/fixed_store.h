// SPDX-License-Identifier: Apache-2.0
// Identity of the virtual jig: the reference jig's channel table, and no calibration of its own.
#pragma once

#include "firmware/board/native/options.h"
#include "firmware/hal/nonvolatile_store.h"

namespace firmware {

class FixedStore : public NonVolatileStore {
 public:
  /// `options` must outlive the store.
  explicit FixedStore(const Options& options);

  const Identity& identity() const override { return identity_; }
  std::uint32_t boot_count() const override { return boot_; }
  std::uint32_t reset_cause() const override { return 1; }  // power-on

 private:
  Identity identity_;
  std::uint32_t boot_;
};

}  // namespace firmware
