// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/outputs.h"

namespace firmware {

bool Outputs::set_gates(std::uint32_t gates, std::uint64_t from_scan) {
  if (!allowed()) return false;
  health_.gates = gates;
  gates_.set(gates, from_scan);
  return true;
}

bool Outputs::drive_ps_on(bool on) {
  if (!allowed()) return false;
  health_.ps_on_driven = on;
  ps_on_.drive(on);
  return true;
}

void Outputs::all_off() {
  health_.gates = 0;
  health_.ps_on_driven = false;
  gates_.set(0, health_.next_scan);
  ps_on_.drive(false);
}

}  // namespace firmware
