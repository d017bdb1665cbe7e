// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/chain.h"

#include <algorithm>
#include <cmath>

#include "host/simulate/front_end.h"
#include "host/simulate/random.h"
#include "tests/trial/sources.h"

namespace trial {
namespace {

namespace sim = host::simulate;

/// Gain and offset as they truly are: what the calibration found, and an error it allows.
std::array<double, 2> draw_scale(const host::model::JigChannel& channel, sim::Random& random) {
  const double first = random.normal();
  const double mixed = channel.correlation * first +
                       std::sqrt(std::max(0.0, 1 - channel.correlation * channel.correlation)) * random.normal();
  return {channel.gain + channel.u_gain * first,
          channel.offset + channel.u_offset * mixed + channel.u_other * random.normal()};
}

}  // namespace

Chain::Chain(const host::model::Jig& jig, std::uint64_t seed) {
  sim::Random random(seed, 21);
  for (Pole& pole : poles_) pole.fresh.fill(1);  // a pole not there passes everything
  for (const auto& channel : jig.channels()) {
    // The calibrated line is gain (per_code code + at_code_0) + offset of the plain one.
    const double plain_per_code = channel.per_code / channel.gain;
    const double plain_at_0 = (channel.at_code_0 - channel.offset) / channel.gain;
    const auto [gain, offset] = draw_scale(channel, random);
    codes_per_unit_[channel.index] = 1 / (gain * plain_per_code);
    code_at_zero_[channel.index] = (-offset / gain - plain_at_0) / plain_per_code;
    for (std::size_t i = 0; i < std::min(poles_.size(), channel.pole_hz.size()); ++i) {
      const auto [keep, stale, fresh] =
          sim::pole_update(channel.pole_hz[i], 1 / kScansPerS / static_cast<double>(sim::kSubSteps));
      poles_[i].keep[channel.index] = keep;
      poles_[i].stale[channel.index] = stale;
      poles_[i].fresh[channel.index] = fresh;
    }
  }
}

void Chain::settle(const Values& values) {
  for (Pole& pole : poles_) {
    // A constant input keeps its state where y = x: state = (1 - fresh) x.
    for (std::size_t c = 0; c < wire::kChannelCount; ++c) pole.state[c] = (1 - pole.fresh[c]) * values[c];
  }
  last_ = values;
}

void Chain::run(const std::array<Values, sim::kSubSteps>& values) {
  for (const Values& step : values) {
    Lanes y;
    std::copy_n(step.begin(), y.size(), y.begin());
    for (Pole& pole : poles_) {
      for (std::size_t c = 0; c < y.size(); ++c) {
        const double x = y[c];
        y[c] = pole.state[c] + pole.fresh[c] * x;
        pole.state[c] = pole.keep[c] * pole.state[c] + pole.stale[c] * x;
      }
    }
    std::ranges::copy(y, last_.begin());
  }
  last_[kLoadGraphics] = values.back()[kLoadGraphics];
  last_[kLoadProcessor] = values.back()[kLoadProcessor];
}

Reading Chain::reading() const {
  Reading out{};
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    out[c] = static_cast<float>(code_at_zero_[c] + codes_per_unit_[c] * last_[c]);
  }
  out[kLoadGraphics] = static_cast<float>(last_[kLoadGraphics]);
  out[kLoadProcessor] = static_cast<float>(last_[kLoadProcessor]);
  return out;
}

}  // namespace trial
