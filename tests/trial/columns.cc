// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/columns.h"

#include <algorithm>
#include <cstring>

namespace trial {
namespace {

constexpr Scan kWindow = static_cast<Scan>(Responses::kWindow);
constexpr std::size_t kWindows = wire::kWindowsPerBlock;
constexpr float kSharpSigmas = 6;
constexpr double kDoubtCodes = 8;  // 2.5 mV of +12 V
constexpr float kVariance = 1;     // code^2; no detector looks at it

using Four = float __attribute__((vector_size(16)));
using FourWhole = std::int32_t __attribute__((vector_size(16)));

/// Rounded to the nearest, halves upwards; codes lie within 16 bits, so the sum is positive and truncation floors it.
constexpr float kRound = 65536.5F;
constexpr std::int32_t kRoundOff = 65536;

std::int16_t to_code(std::int32_t value) {
  return static_cast<std::int16_t>(std::clamp(value, -32768, 32767));
}

}  // namespace

Columns::Columns() {
  windows_.window_count = kWindows;
  for (auto& channel : windows_.channels) channel.variance.fill(kVariance);
  clear_counts();
}

void Columns::clear_counts() {
  for (auto& channel : windows_.channels) {
    channel.below.fill(0);
    channel.above.fill(0);
  }
}

void Columns::still(std::size_t channel, const float* level, const Noise& noise, Scan first) {
  auto& columns = windows_.channels[channel];
  const Noise::Table& table = noise.table(channel);
  const std::size_t at = noise.window(channel, first);
  const float* mean = &table.mean[at];
  const float* least = &table.least[at];
  const float* most = &table.most[at];
  for (std::size_t i = 0; i < kWindows; ++i) {
    columns.mean_8[i] = static_cast<std::int32_t>(8 * (level[i] + mean[i]) + 8 * kRound - 3.5F) - 8 * kRoundOff;
  }
  for (std::size_t i = 0; i < kWindows; ++i) {
    const auto code = static_cast<std::int32_t>(level[i] + least[i] + kRound) - kRoundOff;
    columns.min[i] = static_cast<std::int16_t>(code);
  }
  for (std::size_t i = 0; i < kWindows; ++i) {
    const auto code = static_cast<std::int32_t>(level[i] + most[i] + kRound) - kRoundOff;
    columns.max[i] = static_cast<std::int16_t>(code);
  }
}

void Columns::walked(std::size_t channel, std::size_t window, const float* samples, const float* noise) {
  FourWhole least{}, most{}, sum{};
  for (std::size_t n = 0; n < Responses::kWindow; n += 4) {
    Four a, b;
    std::memcpy(&a, samples + n, sizeof a);
    std::memcpy(&b, noise + n, sizeof b);
    const FourWhole code = __builtin_convertvector(a + b + kRound, FourWhole) - kRoundOff;
    least = n == 0 ? code : (code < least ? code : least);
    most = n == 0 ? code : (code > most ? code : most);
    sum += code;
  }
  auto& columns = windows_.channels[channel];
  columns.min[window] = to_code(std::min({least[0], least[1], least[2], least[3]}));
  columns.max[window] = to_code(std::max({most[0], most[1], most[2], most[3]}));
  // Mean in 1/8 code: a quarter of the sum of 32, rounded to the nearest, halves upwards.
  columns.mean_8[window] = (sum[0] + sum[1] + sum[2] + sum[3] + 2) >> 2;
}

// Windows in which steps move the channel: closed forms for one step at a time, sample by sample else.
void Columns::moving(std::size_t channel, const Windows& windows, const Wave& wave, const Noise& noise) {
  const float sigma = static_cast<float>(noise.table(channel).sigma);
  alignas(16) std::array<float, Responses::kWindow> samples;
  auto& columns = windows_.channels[channel];
  for (std::size_t i = 0; i < kWindows; ++i) {
    const Wave::Window& window = windows[i];
    const bool mains = wave.is_mains(channel);
    if (!mains && (window.moved >> channel & 1U) == 0) continue;
    const float* noises = noise.samples(channel, window.from);
    const bool closed = !window.simulated && !wave.contact_moves(window, channel);
    const Wave::Bounds bounds = closed ? wave.bounds(window, channel) : Wave::Bounds{};
    if (!closed || bounds.doubt > kDoubtCodes) {
      wave.samples(window, channel, samples.data());
      walked(channel, i, samples.data(), noises);
      continue;
    }
    const std::size_t at = noise.window(channel, window.from);
    const Noise::Table& table = noise.table(channel);
    const auto least = static_cast<float>(bounds.least);
    const auto most = static_cast<float>(bounds.most);
    // At a sharp extreme the noise of one scan counts, on flat ground the greatest of many.
    const bool sharp = most - least > kSharpSigmas * sigma;
    const auto code = [](float value) {
      return static_cast<std::int16_t>(static_cast<std::int32_t>(value + kRound) - kRoundOff);
    };
    columns.min[i] = code(least + (sharp ? noises[0] : table.least[at]));
    columns.max[i] = code(most + (sharp ? noises[1] : table.most[at]));
    const float mean = 8 * (static_cast<float>(bounds.mean) + table.mean[at]);
    columns.mean_8[i] = static_cast<std::int32_t>(mean + 8 * kRound - 3.5F) - 8 * kRoundOff;
  }
}

void Columns::fill(const Windows& windows, const Wave& wave, const Noise& noise) {
  std::uint32_t moved = 0;
  for (const Wave::Window& window : windows) moved |= window.moved;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    const bool mains = wave.is_mains(c);
    if (!mains) {
      std::array<float, kWindows> level;
      for (std::size_t i = 0; i < kWindows; ++i) {
        const bool same = i > 0 && windows[i].settled == windows[i - 1].settled;
        level[i] = same ? level[i - 1] : static_cast<float>(wave.at_rest(windows[i], c));
      }
      for (std::size_t i = 0; wave.adds(c) && i < kWindows; ++i) {
        level[i] += static_cast<float>(wave.addition(windows[i], c));
      }
      still(c, level.data(), noise, windows[0].from);
    }
    if (mains || (moved >> c & 1U) != 0) moving(c, windows, wave, noise);
    const auto& columns = windows_.channels[c];
    std::int16_t low = columns.min[0];
    std::int16_t high = columns.max[0];
    for (std::size_t i = 0; i < kWindows; ++i) low = columns.min[i] < low ? columns.min[i] : low;
    for (std::size_t i = 0; i < kWindows; ++i) high = columns.max[i] > high ? columns.max[i] : high;
    least_[c] = low;
    most_[c] = high;
  }
}

}  // namespace trial
