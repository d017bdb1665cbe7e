// SPDX-License-Identifier: Apache-2.0
#include "host/detect/pwr_ok_levels.h"

#include <algorithm>
#include <cmath>

#include "host/detect/arm.h"
#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

constexpr double kStillS = 20e-3;  // longer than any rise an edition allows
constexpr double kMiddleV = 1.5;   // tells high from low

}  // namespace

PwrOkLevels::PwrOkLevels(const model::Jig& jig)
    : line_(pwr_ok_channel(jig)),
      stretch_scans_(static_cast<std::uint32_t>(std::lround(kStillS * jig.scan_rate_hz()))) {}

void PwrOkLevels::tell(const Stretch& stretch) {
  const auto keep = [&](std::optional<Extreme>& extreme, double volts, double sign) {
    if (!extreme || sign * volts > sign * extreme->volts) extreme = Extreme{volts, stretch.at};
  };
  if (state_ < 0) return keep(highest_low_, stretch.most, 1);
  keep(lowest_high_, stretch.least, -1);
  keep(noise_, stretch.span, 1);
}

void PwrOkLevels::step(const Block& block, std::uint32_t window) {
  const auto& columns = block.windows->channels[line_->index];
  const double least = line_->value(columns.min[window]);
  const double most = line_->value(columns.max[window]);
  const int state = least >= kMiddleV ? 1 : most < kMiddleV ? -1 : 0;
  if (state != state_) {
    state_ = state;
    stretches_ = 0;
    now_ = Stretch{};
  }
  if (state == 0) return;
  if (now_.scans == 0) now_ = Stretch{least, most, 0, block.start_of(window), 0};
  now_.least = std::min(now_.least, least);
  now_.most = std::max(now_.most, most);
  now_.span = std::max(now_.span, most - least);
  now_.scans += block.scans;
  if (now_.scans < stretch_scans_) return;
  // The first of a state and the one before the next edge are the edges' own.
  if (stretches_ >= 2) tell(held_);
  ++stretches_;
  held_ = now_;
  now_ = Stretch{};
}

void PwrOkLevels::add(const Block& block) {
  if (line_ == nullptr) return;
  if (!block.follows) state_ = 0;
  for (std::uint32_t i = 0; i < block.count; ++i) step(block, i);
}

void PwrOkLevels::write(WorstFigures& figures) const {
  using steadyrail::proto::Quantity;
  const auto add = [&](Quantity quantity, const std::optional<Extreme>& extreme) {
    if (!extreme) return;
    const double u = judge::expanded_uncertainty(*line_, extreme->volts, 1).standard;
    figures.add(steadyrail::proto::RAIL_UNKNOWN, {quantity, line_->index, extreme->volts, u, 0, extreme->at});
  };
  add(Quantity::QUANTITY_PWR_OK_HIGH, lowest_high_);
  add(Quantity::QUANTITY_PWR_OK_LOW, highest_low_);
  add(Quantity::QUANTITY_PWR_OK_NOISE, noise_);
}

}  // namespace host::detect
