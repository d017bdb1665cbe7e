// SPDX-License-Identifier: Apache-2.0
// Identity of a jig that replays files: the same on every board, so that their bytes can be compared.
#pragma once

#include "firmware/board/ram_store.h"

namespace firmware {

class ReplayStore : public RamStore {
 public:
  ReplayStore() {
    identity_.jig_id = "J-01";
    identity_.firmware = "replay";
  }
  std::uint32_t boot_count() const override { return 1; }
};

}  // namespace firmware
