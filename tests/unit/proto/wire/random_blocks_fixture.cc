// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cmath>

#include "tests/unit/proto/wire/random_blocks.h"

namespace wire {
namespace {

std::int16_t clipped(double code) {
  return static_cast<std::int16_t>(std::clamp(std::lround(code), -32768L, 32767L));
}

double code_of(std::size_t make, std::size_t scan, std::mt19937& random, double level) {
  std::normal_distribution<double> noise(0, 1);
  switch (make) {
    case 0:
      return std::floor(level);
    case 1:
      return level + 3 * noise(random);
    case 2:
      return level + ((scan / 700) % 2 == 0 ? 0 : 4000) + 20 * noise(random);
    case 3:
      return 40000 * std::sin(static_cast<double>(scan) / 101);
    case 4:
      return static_cast<double>(random() % 65536) - 32768;
    default:
      return level + noise(random) + (random() % 400 == 0 ? 9000 : 0);
  }
}

}  // namespace

Samples random_samples(std::uint32_t seed, std::size_t scan_count) {
  std::mt19937 random(seed);
  Samples samples;
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    const double level = static_cast<double>(random() % 60000) - 30000;
    auto& codes = samples.codes[channel];
    codes.reserve(scan_count);
    for (std::size_t scan = 0; scan < scan_count; ++scan) {
      codes.push_back(clipped(code_of((channel + seed) % 6, scan, random, level)));
    }
    const bool counted = channel % 5 == 0;
    samples.low_limits[channel] = counted ? static_cast<std::int32_t>(level) - 2 : -40000;
    samples.high_limits[channel] = counted ? static_cast<std::int32_t>(level) + 2 : 40000;
  }
  return samples;
}

WindowBlock windows_of(const Samples& samples, std::uint32_t scans_per_window) {
  WindowBlock block{};
  block.scans_per_window = scans_per_window;
  block.window_count = static_cast<std::uint32_t>(samples.codes[0].size() / scans_per_window);
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    for (std::size_t window = 0; window < block.window_count; ++window) {
      const auto* first = samples.codes[channel].data() + window * scans_per_window;
      std::int64_t sum = 0;
      std::int64_t squares = 0;
      std::uint16_t below = 0;
      std::uint16_t above = 0;
      for (const auto* code = first; code != first + scans_per_window; ++code) {
        sum += *code;
        squares += static_cast<std::int64_t>(*code) * *code;
        below += *code < samples.low_limits[channel];
        above += *code > samples.high_limits[channel];
      }
      WindowColumns& columns = block.channels[channel];
      columns.min[window] = *std::min_element(first, first + scans_per_window);
      columns.max[window] = *std::max_element(first, first + scans_per_window);
      columns.sum[window] = static_cast<std::int32_t>(sum);
      columns.m2[window] = scans_per_window * squares - sum * sum;
      columns.below[window] = below;
      columns.above[window] = above;
    }
  }
  return block;
}

}  // namespace wire
