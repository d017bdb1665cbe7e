// SPDX-License-Identifier: Apache-2.0
// Gates and PS_ON#: the one place that drives them, and only in bench.
#pragma once

#include <cstdint>

#include "firmware/core/health.h"
#include "firmware/hal/outputs.h"

namespace firmware {

inline constexpr std::uint32_t kGateCount = 8;

class Outputs {
 public:
  /// Switches everything off: that is the state after a reset.
  Outputs(LoadGates& gates, PsOnDriver& ps_on, Health& health) : gates_(gates), ps_on_(ps_on), health_(health) {
    all_off();
  }

  /// Allowed in bench with no safety cause standing; otherwise nothing happens and the answer is false.
  [[nodiscard]] bool set_gates(std::uint32_t gates, std::uint64_t from_scan);
  [[nodiscard]] bool drive_ps_on(bool on);

  void all_off();
  std::uint32_t lead_scans() const { return gates_.lead_scans(); }
  bool any_on() const { return health_.gates != 0 || health_.ps_on_driven; }

 private:
  bool allowed() const { return health_.mode == Mode::kBench && health_.safety_cause == SafetyCause::kNone; }

  LoadGates& gates_;
  PsOnDriver& ps_on_;
  Health& health_;
};

}  // namespace firmware
