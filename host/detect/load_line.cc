// SPDX-License-Identifier: Apache-2.0
#include "host/detect/load_line.h"

#include <algorithm>
#include <cmath>

namespace host::detect {
namespace {

// Where learning begins and how fast coefficients may wander; common practice, no source.
constexpr double kOwnOhm = 10e-3;
constexpr double kOtherOhm = 1e-3;
constexpr double kOwnSpreadOhm = 10e-3;
constexpr double kOtherSpreadOhm = 3e-3;
constexpr double kLevelSpreadShare = 0.05;
constexpr double kMeanSigmaV = 3e-3;      // of one settled window's mean, load ripple included
constexpr double kLevelWanderV = 0.3e-3;  // each update
constexpr double kOhmWander = 0.01e-3;
constexpr double kGateSigmas = 5;
constexpr double kGateLeastV = 30e-3;
constexpr int kDisagreeMost = 100;

}  // namespace

LoadLine::LoadLine(double nominal_v, std::size_t currents, std::size_t own)
    : currents_(std::min(currents, kCurrentsMax)), own_(own), nominal_v_(nominal_v) {
  for (std::size_t i = 0; i < currents_; ++i) state_[i + 1] = i == own_ ? kOwnOhm : kOtherOhm;
  reset_spread();
}

void LoadLine::reset_spread() {
  for (auto& row : spread_) row.fill(0);
  spread_[0][0] = std::pow(kLevelSpreadShare * nominal_v_, 2);
  for (std::size_t i = 0; i < currents_; ++i) {
    spread_[i + 1][i + 1] = std::pow(i == own_ ? kOwnSpreadOhm : kOtherSpreadOhm, 2);
  }
}

double LoadLine::resistance(std::size_t current) const {
  return current < currents_ ? std::max(state_[current + 1], 0.0) : 0;
}

bool LoadLine::learn(double volts, std::span<const double> amps) {
  const std::size_t size = currents_ + 1;
  Vector h{};
  h[0] = 1;
  for (std::size_t i = 0; i < currents_; ++i) h[i + 1] = -amps[i];
  if (!seeded_) {
    seeded_ = true;
    state_[0] = volts;
    for (std::size_t i = 0; i < currents_; ++i) state_[0] += state_[i + 1] * amps[i];
  }
  const double level_most = std::pow(kLevelSpreadShare * nominal_v_, 2);
  spread_[0][0] = std::min(spread_[0][0] + kLevelWanderV * kLevelWanderV, level_most);
  for (std::size_t i = 0; i < currents_; ++i) {
    const double most = std::pow(i == own_ ? kOwnSpreadOhm : kOtherSpreadOhm, 2);
    double& spread = spread_[i + 1][i + 1];
    if (spread < most) spread += kOhmWander * kOhmWander;
  }
  Vector ph{};
  double variance = kMeanSigmaV * kMeanSigmaV;
  double predicted = 0;
  for (std::size_t i = 0; i < size; ++i) {
    predicted += h[i] * state_[i];
    for (std::size_t j = 0; j < size; ++j) ph[i] += spread_[i][j] * h[j];
    variance += h[i] * ph[i];
  }
  const double miss = volts - predicted;
  if (std::abs(miss) > std::max(kGateLeastV, kGateSigmas * std::sqrt(variance))) {
    if (++disagreed_ < kDisagreeMost) return false;
    reset_spread();
    seeded_ = false;
    disagreed_ = 0;
    return false;
  }
  disagreed_ = 0;
  for (std::size_t i = 0; i < size; ++i) state_[i] += ph[i] / variance * miss;
  for (std::size_t i = 0; i < size; ++i) {
    for (std::size_t j = 0; j < size; ++j) spread_[i][j] -= ph[i] * ph[j] / variance;
  }
  return true;
}

}  // namespace host::detect
