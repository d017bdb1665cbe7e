// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/load_sequencer.h"

namespace firmware {

void LoadSequencer::play(std::uint32_t rounds) {
  next_ = 0;
  rounds_left_ = count_ == 0 ? 0 : rounds;
  start_scan_ = next_edge_scan();
  due_us_ = count_ == 0 ? 0 : steps_[0].after_us;
}

std::uint64_t LoadSequencer::due_scan() const {
  return start_scan_ + due_us_ * kScansPerMillisecond / 1000;
}

void LoadSequencer::on_block() {
  for (std::size_t i = 0; i < kLoadStepsMax && playing() && due_scan() <= next_edge_scan(); ++i) {
    apply(steps_[next_]);
    if (++next_ == count_) {
      next_ = 0;
      --rounds_left_;
    }
    due_us_ += steps_[next_].after_us;
  }
}

void LoadSequencer::apply(const LoadStep& step) {
  const std::uint32_t bit = std::uint32_t{1} << step.gate;
  const std::uint32_t gates = step.on ? health_.gates | bit : health_.gates & ~bit;
  const std::uint64_t scan = next_edge_scan();
  if (!outputs_.set_gates(gates, scan)) {
    cancel();
    return;
  }
  health_.gate_scan = scan;
  steadyrail_proto_Event event{};
  event.which_kind = steadyrail_proto_Event_edge_tag;
  event.kind.edge.line = steadyrail_proto_Line_LINE_GATE;
  event.kind.edge.high = step.on;
  event.kind.edge.scan = scan;
  event.kind.edge.gate = step.gate;
  telemetry_.event(event);
}

}  // namespace firmware
