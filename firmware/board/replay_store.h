// SPDX-License-Identifier: Apache-2.0
// Identity of a jig that replays files: the same on every board, so that their bytes can be compared.
#pragma once

#include "firmware/board/reference_channels.h"
#include "firmware/hal/nonvolatile_store.h"

namespace firmware {

class ReplayStore : public NonVolatileStore {
 public:
  ReplayStore() {
    identity_.jig_id = "J-01";
    identity_.firmware = "replay";
    use_reference_channels(identity_);
    identity_.simulated = true;
  }
  const Identity& identity() const override { return identity_; }
  std::uint32_t boot_count() const override { return 1; }
  std::uint32_t reset_cause() const override { return 1; }  // power-on

 private:
  Identity identity_;
};

}  // namespace firmware
