// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/outputs.h"

namespace firmware {

bool Outputs::load_edge(const GateEdge& edge) {
  if (!allowed() || !gates_.queue_edge(edge)) return false;
  note(edge.gates, edge.scan);
  health_.gate_marks.add(edge.scan);
  return true;
}

bool Outputs::drive_ps_on(bool on) {
  if (!allowed()) return false;
  join_source({});
  health_.ps_on_driven = on;
  ps_on_.drive(on);
  return true;
}

void Outputs::gates_off() {
  gates_.switch_off();
  join_source({});
  note(0, health_.next_scan);
}

void Outputs::all_off() {
  gates_off();
  health_.ps_on_driven = false;
  ps_on_.drive(false);
}

void Outputs::note(std::uint32_t gates, std::uint64_t scan) {
  for (std::uint32_t gate = 0; gate < kGateCount; ++gate) {
    if (((health_.gates ^ gates) >> gate & 1) != 0) edge_scans_[gate] = scan;
  }
  health_.gates = gates;
}

}  // namespace firmware
