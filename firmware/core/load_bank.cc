// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/load_bank.h"

#include <algorithm>

namespace firmware {
namespace {

constexpr std::uint32_t kCurrentMaMost = 100'000;
constexpr std::uint32_t kPowerMwMost = 2'000'000;  // of a branch; eight of them
constexpr std::uint32_t kOnTimeMsMost = 600'000;
constexpr std::uint32_t kRepetitionHzMost = 10'000;

constexpr std::uint32_t kSteps = steadyrail_proto_LoadSteps_steps_tag;
constexpr std::uint32_t kRepeat = steadyrail_proto_LoadSteps_repeat_tag;
constexpr std::uint32_t kBranches = steadyrail_proto_DescribeLoadBank_branches_tag;

constexpr bool within(std::uint32_t value, std::uint32_t least, std::uint32_t most) {
  return value >= least && value <= most;
}

bool branch_sound(const steadyrail_proto_LoadBranch& branch, std::uint32_t groups) {
  const bool limits = within(branch.current_ma, 1, kCurrentMaMost) && within(branch.power_mw, 1, kPowerMwMost) &&
                      within(branch.on_time_ms_max, 1, kOnTimeMsMost);
  const bool seen = branch.channel < wire::kChannelCount && branch.level_codes <= 65535 &&
                    branch.idle_code >= std::numeric_limits<std::int16_t>::min() &&
                    branch.idle_code <= std::numeric_limits<std::int16_t>::max();
  return branch.gate < kGateCount && branch.group < groups && limits && seen;
}

/// Plays a programme without time passing: once through, or twice, which shows everything that repeats.
class Rehearsal {
 public:
  Rehearsal(const LoadBank& bank, std::uint32_t gates) : bank_(bank), gates_(gates) {}

  Refused round(std::span<const LoadStep> steps) {
    energy_nj_ = 0;
    for (const LoadStep& step : steps) {
      if (step.after_us != 0) {
        if (const Refused refused = pass(step.after_us); refused.refusal != 0) return refused;
      }
      if (const Refused refused = apply(step); refused.refusal != 0) return refused;
    }
    return within_limits();
  }
  std::uint64_t energy_nj() const { return energy_nj_; }  // of the latest round
  std::uint32_t gates() const { return gates_; }

 private:
  // What is on draws for so long.
  Refused pass(std::uint32_t us) {
    const Refused refused = within_limits();
    now_us_ += us;
    energy_nj_ += std::uint64_t{power_mw_} * us;
    return refused;
  }

  Refused within_limits() {
    std::array<std::uint32_t, kLoadGroupsMax> current_ma{};
    power_mw_ = 0;
    for (std::uint32_t gate = 0; gate < kGateCount; ++gate) {
      if ((gates_ >> gate & 1) == 0) continue;
      const LoadBranch& branch = bank_.branches[gate];
      power_mw_ += branch.power_mw;
      current_ma[branch.group] += branch.current_ma;
      if (current_ma[branch.group] > bank_.current_ma_max[branch.group]) {
        return {steadyrail_proto_Refusal_REFUSAL_CURRENT_LIMIT, kSteps};
      }
    }
    if (power_mw_ > bank_.power_mw_max) return {steadyrail_proto_Refusal_REFUSAL_POWER_LIMIT, kSteps};
    return {};
  }

  Refused apply(const LoadStep& step) {
    const std::uint32_t bit = std::uint32_t{1} << step.gate;
    if (((gates_ & bit) != 0) == step.on) return {};
    std::uint64_t& edge_us = edges_us_[step.gate];
    const bool known = (edged_ & bit) != 0;
    if (known && now_us_ - edge_us < kGateEdgeLeastUs) {
      return {steadyrail_proto_Refusal_REFUSAL_REPETITION_LIMIT, kSteps};
    }
    // What was on before the programme began has been on for longer than this counts; it is watched while it is on.
    if (!step.on && now_us_ - edge_us > std::uint64_t{bank_.branches[step.gate].on_time_ms_max} * 1000) {
      return {steadyrail_proto_Refusal_REFUSAL_ON_TIME_LIMIT, kSteps};
    }
    edge_us = now_us_;
    edged_ |= bit;
    gates_ ^= bit;
    return note_time();
  }

  // Each time of edges once, in a ring as long as may lie within a millisecond.
  Refused note_time() {
    if (times_ != 0 && times_us_[(times_ - 1) % kEdgeTimesPerMillisecond] == now_us_) return {};
    std::uint64_t& oldest_us = times_us_[times_ % kEdgeTimesPerMillisecond];
    const bool dense = times_ >= kEdgeTimesPerMillisecond && now_us_ - oldest_us < 1000;
    oldest_us = now_us_;
    ++times_;
    return dense ? Refused{steadyrail_proto_Refusal_REFUSAL_REPETITION_LIMIT, kSteps} : Refused{};
  }

  const LoadBank& bank_;
  std::uint32_t gates_;
  std::uint64_t now_us_ = 0;
  std::uint32_t power_mw_ = 0;
  std::uint64_t energy_nj_ = 0;
  std::uint32_t edged_ = 0;  // gates with an edge in this programme
  std::array<std::uint64_t, kGateCount> edges_us_{};
  std::size_t times_ = 0;
  std::array<std::uint64_t, kEdgeTimesPerMillisecond> times_us_{};
};

Refused check_described(const LoadBank& bank, std::span<const LoadStep> steps, std::uint32_t gates) {
  for (const LoadStep& step : steps) gates |= std::uint32_t{1} << step.gate;
  for (std::uint32_t gate = 0; gate < kGateCount; ++gate) {
    if ((gates >> gate & 1) != 0 && !bank.branches[gate].described) {
      return {steadyrail_proto_Refusal_REFUSAL_NO_LOAD_BANK, kSteps};
    }
  }
  return {};
}

/// Gates on all through the rounds that follow the first.
Refused check_always_on(const LoadBank& bank, std::span<const LoadStep> steps, std::uint64_t us, std::uint32_t gates) {
  for (const LoadStep& step : steps) {
    if (!step.on) gates &= ~(std::uint32_t{1} << step.gate);
  }
  for (std::uint32_t gate = 0; gate < kGateCount; ++gate) {
    if ((gates >> gate & 1) != 0 && us > std::uint64_t{bank.branches[gate].on_time_ms_max} * 1000) {
      return {steadyrail_proto_Refusal_REFUSAL_ON_TIME_LIMIT, kSteps};
    }
  }
  return {};
}

}  // namespace

std::expected<LoadBank, Refused> load_bank_from(const steadyrail_proto_DescribeLoadBank& message) {
  const auto out_of_range = [](std::uint32_t field) {
    return std::unexpected(Refused{steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, field});
  };
  LoadBank bank;
  for (pb_size_t k = 0; k < message.group_current_ma_max_count; ++k) {
    bank.current_ma_max[k] = message.group_current_ma_max[k];
  }
  for (pb_size_t k = 0; k < message.branches_count; ++k) {
    const steadyrail_proto_LoadBranch& branch = message.branches[k];
    if (!branch_sound(branch, message.group_current_ma_max_count)) return out_of_range(kBranches);
    LoadBranch& into = bank.branches[branch.gate];
    if (into.described) return out_of_range(kBranches);
    into = {.described = true,
            .group = static_cast<std::uint8_t>(branch.group),
            .channel = static_cast<std::uint8_t>(branch.channel),
            .idle_code = static_cast<std::int16_t>(branch.idle_code),
            .level_codes = branch.level_codes,
            .current_ma = branch.current_ma,
            .power_mw = branch.power_mw,
            .on_time_ms_max = branch.on_time_ms_max};
  }
  if (message.branches_count == 0) return out_of_range(kBranches);
  if (message.power_mw_max == 0) return out_of_range(steadyrail_proto_DescribeLoadBank_power_mw_max_tag);
  if (message.energy_j_max == 0) return out_of_range(steadyrail_proto_DescribeLoadBank_energy_j_max_tag);
  if (!within(message.repetition_hz_max, 1, kRepetitionHzMost)) {
    return out_of_range(steadyrail_proto_DescribeLoadBank_repetition_hz_max_tag);
  }
  bank.power_mw_max = message.power_mw_max;
  bank.energy_j_max = message.energy_j_max;
  bank.repetition_hz_max = message.repetition_hz_max;
  bank.cooling_mw = message.cooling_mw;
  if (bank.cooling_mw == 0) {
    bank.cooling_mw = static_cast<std::uint32_t>(std::uint64_t{bank.energy_j_max} * 1000 / kCoolingSeconds);
  }
  return bank;
}

Refused check_programme(const LoadBank& bank, std::span<const LoadStep> steps, std::uint32_t rounds,
                        std::uint32_t gates, std::uint64_t held_nj) {
  if (bank.repetition_hz_max == 0) return {steadyrail_proto_Refusal_REFUSAL_NO_LOAD_BANK, 0};
  if (const Refused refused = check_described(bank, steps, gates); refused.refusal != 0) return refused;
  std::uint64_t round_us = 0;
  for (const LoadStep& step : steps) round_us += step.after_us;
  if (rounds > 1 && round_us * bank.repetition_hz_max < 1'000'000) {
    return {steadyrail_proto_Refusal_REFUSAL_REPETITION_LIMIT, kRepeat};
  }
  Rehearsal rehearsal(bank, gates);
  if (const Refused refused = rehearsal.round(steps); refused.refusal != 0) return refused;
  const std::uint64_t energy_nj_max = bank.energy_j_max * kNanojoulesPerJoule;
  const std::uint64_t first_nj = rehearsal.energy_nj();
  if (first_nj > energy_nj_max) return {steadyrail_proto_Refusal_REFUSAL_ENERGY_LIMIT, kSteps};
  const std::uint64_t room_nj = energy_nj_max - std::min(energy_nj_max, held_nj);
  const Refused too_soon{steadyrail_proto_Refusal_REFUSAL_ENERGY_LIMIT, 0};  // of what came before, not of this alone
  if (rounds == 1) return first_nj > room_nj ? too_soon : Refused{};
  const std::uint32_t after_first = rehearsal.gates();
  if (const Refused refused = rehearsal.round(steps); refused.refusal != 0) return refused;
  // Divided, not multiplied: rounds by energy may exceed 64 bits.
  if (rehearsal.energy_nj() > (energy_nj_max - first_nj) / (rounds - 1)) {
    return {steadyrail_proto_Refusal_REFUSAL_ENERGY_LIMIT, kRepeat};
  }
  if (first_nj + rehearsal.energy_nj() * (rounds - 1) > room_nj) return too_soon;
  const std::uint64_t us_max = std::uint64_t{kOnTimeMsMost} * 1000 + 1;  // longer is too long for every branch
  const bool long_rounds = round_us != 0 && rounds - 1 > us_max / round_us;
  return check_always_on(bank, steps, long_rounds ? us_max : round_us * (rounds - 1), after_first);
}

}  // namespace firmware
