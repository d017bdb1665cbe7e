// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/plan.h"

#include <cmath>

#include "host/selftest/circuit.h"

namespace host::selftest {
namespace {

namespace proto = steadyrail::proto;

constexpr double kReadableShare = 0.9;  // of full scale
constexpr std::uint32_t kSmallLevel = 1;
constexpr std::uint32_t kStepSet = 1;
// Outputs below 0.5 V count as dead (hardware-notes/safety.md). A current channel has nothing to be live by; what its
// sensor may read without current: own choice.
constexpr double kDeadV = 0.5;
constexpr double kDeadGroundV = 0.3;
constexpr double kDeadAcV = 1.5;
constexpr double kDeadA = 8;

/// In the middle: every tap at once draws the bus down to about half of it.
std::uint32_t step_level(const proto::TestSetup& setup) {
  return static_cast<std::uint32_t>(setup.level_v_size()) / 2;
}

/// Highest level at which the channel still reads below its end.
std::uint32_t highest(const proto::TestSetup& setup, const proto::TestInput& input, double source_ohm) {
  for (int level = setup.level_v_size() - 1; level > 2; --level) {
    const double tap_v = tap_volts(input, setup.level_v(level), source_ohm, setup.tie_ohm());
    const double volts = at_zero_of(input) + gain_of(input) * (tap_v + resting_volts(input, source_ohm));
    if (volts <= kReadableShare * setup.converter_full_scale_v()) return static_cast<std::uint32_t>(level);
  }
  return 2;
}

double dead_band(const model::JigChannel& channel) {
  switch (channel.kind) {
    case proto::CHANNEL_KIND_CURRENT:
      return kDeadA;
    case proto::CHANNEL_KIND_GROUND_OFFSET:
      return kDeadGroundV;
    case proto::CHANNEL_KIND_AC_PRESENT:
      return kDeadAcV;
    default:
      return kDeadV;
  }
}

}  // namespace

std::vector<Stimulus> plan(const proto::TestSetup& setup, const model::Jig& jig) {
  std::vector<Stimulus> out{{}};
  const auto add = [&](Purpose purpose, int input, std::uint32_t level, bool weak) {
    const std::size_t channel = jig.find(setup.inputs(input).channel())->index;
    out.push_back({purpose, std::uint32_t{1} << channel, level, weak, input, -1});
  };
  Stimulus step{
      .purpose = Purpose::kStep, .outputs = 0, .level = step_level(setup), .weak = false, .input = -1, .link = -1};
  for (int i = 0; i < setup.inputs_size(); ++i) {
    const proto::TestInput& input = setup.inputs(i);
    step.outputs |= std::uint32_t{1} << jig.find(input.channel())->index;
    const bool attenuated = input.attenuation() > 0;
    const std::uint32_t high = highest(setup, input, setup.strong_ohm());
    const std::uint32_t low = std::max(high - 1, kSmallLevel + 1);
    if (at_zero_of(input) != 0) {
      add(Purpose::kZeroStrong, i, 0, false);
      if (!attenuated) add(Purpose::kZeroWeak, i, 0, true);
    } else {  // 0 V is the end of its range: a negative offset would not show
      add(Purpose::kSmall, i, kSmallLevel, false);
    }
    if (attenuated) {
      add(Purpose::kHigh, i, high, false);
      continue;
    }
    add(Purpose::kLowStrong, i, low, false);
    add(Purpose::kLowWeak, i, low, true);
    add(Purpose::kHigh, i, high, false);
    if (const std::uint32_t weak = highest(setup, input, setup.weak_ohm()); weak > low) {
      add(Purpose::kHighWeak, i, weak, true);
    }
  }
  for (int k = 0; k < setup.links_size(); ++k) {
    int input = 0;
    while (setup.inputs(input).channel() != setup.links(k).channel()) ++input;
    const std::uint32_t high = highest(setup, setup.inputs(input), setup.strong_ohm());
    out.push_back({Purpose::kLink, std::uint32_t{1} << setup.links(k).output(), high, false, input, k});
  }
  out.push_back({});  // so that the step comes from rest
  out.push_back(step);
  return out;
}

proto::JoinSource command_of(const Stimulus& stimulus, const proto::TestSetup& setup, const model::Jig& jig,
                             const std::array<bool, wire::kChannelCount>& moved) {
  constexpr std::int32_t kLeast = -32768;
  constexpr std::int32_t kMost = 32767;
  proto::JoinSource out;
  out.set_outputs(stimulus.outputs);
  out.set_level(stimulus.level);
  out.set_weak(stimulus.weak);
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    const model::JigChannel* channel = jig.at(c);
    if (channel == nullptr || channel->kind == proto::CHANNEL_KIND_AUXILIARY || moved[c]) {
      out.add_least_code(kLeast);
      out.add_most_code(kMost);
      continue;
    }
    double center = 0;
    for (const proto::TestInput& input : setup.inputs()) {
      if (input.channel() != channel->name) continue;
      center = channel->value(65536 * open_volts(input) / setup.converter_full_scale_v() - 32768);
    }
    const double noise = 6 * channel->noise_rms;  // of single scans
    const double least = channel->code(center - dead_band(*channel) - noise);
    const double most = channel->code(center + dead_band(*channel) + noise);
    out.add_least_code(std::max(kLeast, static_cast<std::int32_t>(std::floor(least))));
    out.add_most_code(std::min(kMost, static_cast<std::int32_t>(std::ceil(most))));
  }
  return out;
}

double open_volts(const proto::TestInput& input) {
  return at_zero_of(input) + gain_of(input) * resting_volts(input, std::nullopt);
}

double stepped_volts(const proto::TestSetup& setup, const proto::TestInput& input) {
  double siemens = 1 / setup.strong_ohm();
  double amps = setup.level_v(static_cast<int>(step_level(setup))) / setup.strong_ohm();
  for (const proto::TestInput& other : setup.inputs()) {
    const double ohm =
        other.attenuation() > 0 ? other.attenuation_ohm() / other.attenuation() : input_ohm(other, setup.tie_ohm());
    siemens += 1 / ohm;
    if (other.attenuation() == 0) amps += other.lower_end_v() / (other.upper_ohm() + other.lower_ohm());
  }
  const double bus_v = amps / siemens;
  const double tap_v = input.attenuation() > 0
                           ? tap_volts(input, bus_v, 0, setup.tie_ohm()) + resting_volts(input, std::nullopt)
                           : bus_v;
  return at_zero_of(input) + gain_of(input) * tap_v;
}

proto::Arm arm_for(const proto::TestSetup& setup, const model::Jig& jig) {
  proto::Arm arm;
  arm.set_set(kStepSet);
  for (const proto::TestInput& input : setup.inputs()) {
    const double half = (open_volts(input) + stepped_volts(setup, input)) / 2;
    proto::Threshold& threshold = *arm.add_thresholds();
    threshold.set_channel(static_cast<std::uint32_t>(jig.find(input.channel())->index));
    threshold.set_code(static_cast<std::int32_t>(std::lround(65536 * half / setup.converter_full_scale_v() - 32768)));
  }
  return arm;
}

}  // namespace host::selftest
