// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/load_sequencer.h"

#include <algorithm>

namespace firmware {
namespace {

// 32,000 scans of 256 parts in 1,000,000 us.
constexpr std::uint64_t kParts256 = 1024;
constexpr std::uint64_t kPerMicroseconds = 125;
static_assert(kScansPerSecond * 256ULL * kPerMicroseconds == kParts256 * 1'000'000);

// The last edges of a programme and the first of the next one stay as far apart as those of one programme.
constexpr std::uint64_t kScansBetweenProgrammes = 2;

}  // namespace

Refused LoadSequencer::play(std::span<const LoadStep> steps, std::uint32_t rounds) {
  const Refused refused = check_programme(bank_, steps, rounds, health_.gates, heat_.held_nj());
  if (refused.refusal != steadyrail_proto_Refusal_REFUSAL_NONE) return refused;
  std::ranges::copy(steps, steps_.begin());
  count_ = steps.size();
  next_ = 0;
  rounds_left_ = rounds;
  due_256_ = std::max(next_edge_scan() + wire::kScansPerBlock, loaded_scan_ + kScansBetweenProgrammes) * 256;
  due_rest_ = 0;
  advance();
  return {};
}

// The time of the step that is next, from that of the one before.
void LoadSequencer::advance() {
  const std::uint64_t parts = due_rest_ + steps_[next_].after_us * kParts256;
  due_256_ += parts / kPerMicroseconds;
  due_rest_ = static_cast<std::uint32_t>(parts % kPerMicroseconds);
}

void LoadSequencer::note_heat() {
  heat_.note(next_edge_scan() * 256, health_.gates);
  health_.load_energy_j = static_cast<std::uint32_t>(heat_.held_nj() / kNanojoulesPerJoule);
}

bool LoadSequencer::on_block() {
  const std::uint64_t from = next_edge_scan();
  // check_programme() lets no more times lie within a block; two more for what rounding moves over a border.
  for (std::uint32_t k = 0; k < kEdgeTimesPerMillisecond + 2; ++k) {
    if (!playing() || due_scan() >= from + wire::kScansPerBlock) return true;
    if (due_scan() < from || !load_due()) {
      cancel();
      return false;
    }
  }
  return true;
}

// All steps of one instant are one edge.
bool LoadSequencer::load_due() {
  GateEdge edge{.scan = due_scan(), .offset_256 = static_cast<std::uint8_t>(due_256_ % 256), .gates = health_.gates};
  const std::uint32_t before = edge.gates;
  const std::uint64_t instant = due_256_;
  for (std::size_t k = 0; k < kLoadStepsMax && playing() && due_256_ == instant; ++k) {
    const LoadStep& step = steps_[next_];
    const std::uint32_t bit = std::uint32_t{1} << step.gate;
    edge.gates = step.on ? edge.gates | bit : edge.gates & ~bit;
    if (++next_ == count_) {
      next_ = 0;
      --rounds_left_;
    }
    advance();
  }
  if (edge.gates == before) return true;
  if (!outputs_.load_edge(edge)) return false;
  loaded_scan_ = edge.scan;
  heat_.note(instant, edge.gates);
  for (std::uint8_t gate = 0; gate < kGateCount; ++gate) {
    if (((edge.gates ^ before) >> gate & 1) == 0) continue;
    if (!limit_.take(edge.scan)) {
      count_up(untold_);
      continue;
    }
    tell(edge, gate);
  }
  return true;
}

void LoadSequencer::tell(const GateEdge& edge, std::uint8_t gate) {
  steadyrail_proto_Event event{};
  event.which_kind = steadyrail_proto_Event_edge_tag;
  event.kind.edge = {.line = steadyrail_proto_Line_LINE_GATE,
                     .high = (edge.gates >> gate & 1) != 0,
                     .scan = edge.scan,
                     .offset_256 = edge.offset_256,
                     .pulse_ns = 0,
                     .gate = gate,
                     .untold = untold_};
  untold_ = 0;
  telemetry_.event(event);
}

std::optional<std::uint8_t> LoadSequencer::on_too_long() const {
  for (std::uint8_t gate = 0; gate < kGateCount; ++gate) {
    if ((health_.gates >> gate & 1) == 0) continue;
    const std::uint64_t limit_scans = std::uint64_t{bank_.branches[gate].on_time_ms_max} * kScansPerMillisecond;
    if (health_.next_scan + wire::kScansPerBlock > outputs_.edge_scan(gate) + limit_scans) return gate;
  }
  return std::nullopt;
}

}  // namespace firmware
