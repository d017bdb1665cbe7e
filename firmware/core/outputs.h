// SPDX-License-Identifier: Apache-2.0
// Gates and PS_ON#: the one place that drives them, and only in bench.
#pragma once

#include <array>
#include <cstdint>

#include "firmware/core/health.h"
#include "firmware/hal/outputs.h"

namespace firmware {

class Outputs {
 public:
  /// Switches everything off: that is the state after a reset.
  /// `source` may be null: a board without one.
  Outputs(LoadGates& gates, PsOnDriver& ps_on, TestSource* source, Health& health)
      : gates_(gates), ps_on_(ps_on), source_(source), health_(health) {
    all_off();
  }

  /// Allowed in bench with no safety cause standing, and when the board takes it; otherwise nothing happens and the
  /// answer is false.
  [[nodiscard]] bool load_edge(const GateEdge& edge);
  [[nodiscard]] bool drive_ps_on(bool on);
  bool has_source() const { return source_ != nullptr; }
  /// The source goes off with the gates.
  void join_source(const SourceJoin& to) {
    if (has_source()) source_->join(to);
  }

  void gates_off();
  void all_off();
  std::uint32_t lead_scans() const { return gates_.lead_scans(); }
  bool any_on() const { return health_.gates != 0 || health_.ps_on_driven; }

  /// Scan of a gate's latest edge: on while it is on, off while it is off. It may lie ahead.
  std::uint64_t edge_scan(std::uint32_t gate) const { return edge_scans_[gate]; }

 private:
  bool allowed() const { return health_.mode == Mode::kBench && health_.safety_cause == SafetyCause::kNone; }
  void note(std::uint32_t gates, std::uint64_t scan);

  LoadGates& gates_;
  PsOnDriver& ps_on_;
  TestSource* source_;
  Health& health_;
  std::array<std::uint64_t, kGateCount> edge_scans_{};
};

}  // namespace firmware
