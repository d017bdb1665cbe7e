// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/noise.h"

#include <algorithm>

#include "host/simulate/arithmetic.h"
#include "host/simulate/random.h"

namespace trial {
namespace {

constexpr double kAliasHz = 4000;  // of 100 kHz, sampled at 32 kS/s

}  // namespace

Noise::Noise(const host::model::Jig& jig, std::uint64_t seed, const std::array<double, wire::kChannelCount>& tone_codes)
    : seed_(seed) {
  host::simulate::Random random(seed, 23);
  for (const auto& channel : jig.channels()) {
    const double sigma = channel.noise_rms / channel.per_code;
    const double tone = tone_codes[channel.index];
    const auto alike =
        std::ranges::find_if(tables_, [&](const Table& one) { return one.sigma == sigma && one.tone == tone; });
    of_[channel.index] = static_cast<std::size_t>(alike - tables_.begin());
    if (alike != tables_.end()) continue;
    Table table;
    table.sigma = sigma;
    table.tone = tone;
    const std::size_t windows = kWindows + 32;
    table.samples.resize(windows * kScans);
    for (std::size_t i = 0; i < table.samples.size(); ++i) {
      const double turns = static_cast<double>(i) * kAliasHz / kScansPerS;
      const double ripple = tone == 0 ? 0 : tone * host::simulate::sine_of_turns(turns);
      table.samples[i] = static_cast<float>(sigma * random.normal() + ripple);
    }
    for (std::size_t w = 0; w < windows; ++w) {
      const auto begin = table.samples.begin() + static_cast<std::ptrdiff_t>(w * kScans);
      const auto [least, most] = std::minmax_element(begin, begin + kScans);
      float sum = 0;
      for (std::size_t i = 0; i < kScans; ++i) sum += begin[static_cast<std::ptrdiff_t>(i)];
      table.mean.push_back(sum / kScans);
      table.least.push_back(*least);
      table.most.push_back(*most);
    }
    tables_.push_back(std::move(table));
  }
}

}  // namespace trial
