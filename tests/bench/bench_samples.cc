// SPDX-License-Identifier: Apache-2.0
#include "tests/bench/bench_samples.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

namespace bench {
namespace {

constexpr double kScanRateHz = 32000;
constexpr double kVoltsPerCode = 0.61e-3;
constexpr double kAmpsPerCode = 2.44e-3;
constexpr double kVoltsAtCode0 = 10;
constexpr std::size_t kCountedChannel = 16;

enum class Make { kRail12, kStill, kCurrentA, kCurrentB, kGround, kMains };

/// By channel index: main, processor and graphics connectors of eight channels each.
constexpr std::array<Make, wire::kChannelCount> kMakes = {
    Make::kRail12,   Make::kStill,    Make::kStill,    Make::kStill,    Make::kStill,    Make::kStill,
    Make::kStill,    Make::kMains,    Make::kRail12,   Make::kRail12,   Make::kCurrentB, Make::kCurrentB,
    Make::kCurrentB, Make::kGround,   Make::kRail12,   Make::kCurrentB, Make::kRail12,   Make::kRail12,
    Make::kRail12,   Make::kCurrentA, Make::kCurrentA, Make::kCurrentA, Make::kGround,   Make::kStill};

struct Loads {
  std::vector<double> a;  // graphics, A
  std::vector<double> b;  // processor, A
};

void fill(std::vector<double>& amps, double from, double count, double level) {
  const auto first = std::min(amps.size(), static_cast<std::size_t>(from));
  const auto last = std::min(amps.size(), static_cast<std::size_t>(from + count));
  std::fill(amps.begin() + static_cast<std::ptrdiff_t>(first), amps.begin() + static_cast<std::ptrdiff_t>(last), level);
}

Loads gaming_loads(std::size_t scan_count, std::mt19937& random) {
  const auto uniform = [&](double low, double high) { return std::uniform_real_distribution(low, high)(random); };
  Loads loads{std::vector(scan_count, 5.0), std::vector(scan_count, 6.0)};
  for (double at = 200; at < static_cast<double>(scan_count);) {
    const double period = kScanRateHz / 90 * uniform(0.9, 1.15);
    const double busy = period * uniform(0.45, 0.65);
    const double level = uniform(16, 24);
    fill(loads.a, at, busy, level);
    if (uniform(0, 1) < 0.05) fill(loads.a, at + busy * 0.3, 16, level * 2.2);
    at += period;
  }
  for (double at = 500; at < static_cast<double>(scan_count);) {
    const double busy = kScanRateHz * uniform(0.004, 0.02);
    fill(loads.b, at, busy, uniform(10, 15));
    at += busy + kScanRateHz * uniform(0.01, 0.04);
  }
  return loads;
}

/// Sag of the rails: resistance at once, and a damped resonance near 1.5 kHz for what the output filter has to catch
/// up.
std::vector<double> sag_volts(const Loads& loads) {
  constexpr double kOhms = 0.004;
  constexpr double kRingOhms = 0.006;
  const double w = 2 * std::numbers::pi * 1500 / kScanRateHz;
  std::vector<double> sag(loads.a.size());
  double followed = loads.a[0] + loads.b[0];
  double speed = 0;
  for (std::size_t k = 0; k < sag.size(); ++k) {
    const double amps = loads.a[k] + loads.b[k];
    speed += w * w * (amps - followed) - 2 * 0.35 * w * speed;
    followed += speed;
    sag[k] = kOhms * amps + kRingOhms * (amps - followed);
  }
  return sag;
}

/// Two equal poles at 9 kHz.
void limit_band(std::vector<double>& values) {
  const double keep = std::exp(-2 * std::numbers::pi * 9000 / kScanRateHz);
  for (int pole = 0; pole < 2; ++pole) {
    double state = values[0];
    for (double& value : values) value = state = value + keep * (state - value);
  }
}

std::int16_t to_code(double code) {
  return static_cast<std::int16_t>(std::clamp(std::lround(code), -32768L, 32767L));
}

}  // namespace

Samples make_samples(Load load, std::size_t scan_count, std::uint32_t seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, 1);
  Loads loads{std::vector(scan_count, 5.0), std::vector(scan_count, 6.0)};
  if (load == Load::kGaming) loads = gaming_loads(scan_count, random);
  std::vector<double> sag = sag_volts(loads);
  for (auto* trace : {&loads.a, &loads.b, &sag}) limit_band(*trace);
  Samples samples;
  for (std::size_t channel = 0; channel < wire::kChannelCount; ++channel) {
    const double share = 0.6 + 0.05 * static_cast<double>(channel % 8);  // connectors differ
    auto& codes = samples[channel];
    codes.reserve(scan_count);
    for (std::size_t k = 0; k < scan_count; ++k) {
      double code = 1000.0 * static_cast<double>(channel) + noise(random);
      switch (kMakes[channel]) {
        case Make::kRail12:
          code = (12.1 - share * sag[k] - kVoltsAtCode0) / kVoltsPerCode + noise(random);
          break;
        case Make::kCurrentA:
          code = (share * loads.a[k] / 2 + 0.05 * noise(random)) / kAmpsPerCode;
          break;
        case Make::kCurrentB:
          code = (share * loads.b[k] / 2 + 0.05 * noise(random)) / kAmpsPerCode;
          break;
        case Make::kGround:
          code = share * sag[k] / 4 / kVoltsPerCode + noise(random);
          break;
        case Make::kMains:
          code = 0.85 * 32768 * std::sin(2 * std::numbers::pi * 50 * static_cast<double>(k) / kScanRateHz);
          break;
        case Make::kStill:
          break;
      }
      codes.push_back(to_code(code));
    }
  }
  return samples;
}

std::vector<wire::WindowBlock> make_blocks(const Samples& samples, std::int16_t limit_code) {
  constexpr std::size_t kScans = wire::kScansPerBlock;
  std::vector<wire::WindowBlock> blocks(samples[0].size() / (kScans * wire::kWindowsPerBlock));
  for (std::size_t b = 0; b < blocks.size(); ++b) {
    blocks[b].scans_per_window = kScans;
    blocks[b].window_count = wire::kWindowsPerBlock;
    for (std::size_t channel = 0; channel < wire::kChannelCount; ++channel) {
      for (std::size_t window = 0; window < wire::kWindowsPerBlock; ++window) {
        const auto* first = samples[channel].data() + (b * wire::kWindowsPerBlock + window) * kScans;
        std::int64_t sum = 0;
        std::int64_t squares = 0;
        std::uint16_t below = 0;
        for (const auto* code = first; code != first + kScans; ++code) {
          sum += *code;
          squares += static_cast<std::int64_t>(*code) * *code;
          below += channel == kCountedChannel && *code < limit_code;
        }
        wire::WindowColumns& columns = blocks[b].channels[channel];
        columns.min[window] = *std::min_element(first, first + kScans);
        columns.max[window] = *std::max_element(first, first + kScans);
        columns.sum[window] = static_cast<std::int32_t>(sum);
        columns.m2[window] = static_cast<std::int64_t>(kScans) * squares - sum * sum;
        columns.below[window] = below;
        columns.above[window] = 0;
      }
    }
  }
  return blocks;
}

}  // namespace bench
