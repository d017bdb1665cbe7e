// SPDX-License-Identifier: Apache-2.0
#include "host/detect/step_book.h"

#include <algorithm>
#include <cmath>

#include "host/judge/rating.h"

namespace host::detect {
namespace {

constexpr std::uint64_t kEnoughSteps = 10;  // before a median stands for the unit

void add(Reservoir& to, const std::optional<double>& value) {
  if (value) to.add(*value);
}

}  // namespace

StepBook::StepBook(const model::Jig& jig) : jig_(jig), by_rail_(judge::kRailCount) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE || !channel.current) continue;
    Pair pair{};
    pair.voltage = channel.index;
    pair.current = *channel.current;
    pairs_.push_back(std::move(pair));
  }
}

void StepBook::step(std::size_t current, double step_a, const BeyondSteps::Judged& judged) {
  const bool beyond = judged.within == steadyrail::proto::WITHIN_STEP_NO;
  const std::size_t rising = step_a > 0 ? 1 : 0;
  const auto rail = static_cast<std::size_t>(jig_.at(current)->rail);
  if (!beyond && rail < by_rail_.size() && by_rail_[rail][rising] < UINT32_MAX) ++by_rail_[rail][rising];
  for (Pair& pair : pairs_) {
    if (pair.current != current) continue;
    ++pair.steps[rising];
    if (beyond && pair.beyond[rising] < UINT32_MAX) ++pair.beyond[rising];
    pair.specified_a = judged.specified_a;
  }
}

void StepBook::figures(std::size_t voltage, steadyrail::proto::FigureSource source, const StepFigures& figures) {
  const std::size_t rising = figures.step_a > 0 ? 1 : 0;
  for (Pair& pair : pairs_) {
    if (pair.voltage != voltage) continue;
    const bool captured = source == steadyrail::proto::FIGURE_SOURCE_CAPTURE;
    Source& to = captured ? pair.capture[rising] : pair.window[rising];
    to.step.add(figures.step_a);
    add(to.deviation, figures.deviation);
    add(to.undershoot, figures.undershoot);
    add(to.shift, figures.shift);
    add(to.minimum, figures.minimum_scans);
    if (figures.recovery_scans == 0.0) {
      ++pair.stayed_in_band[rising];
    } else {
      add(to.recovery, figures.recovery_scans);
    }
    if (figures.undershoot) to.ohm.add(*figures.undershoot / std::abs(figures.step_a));
    if (figures.deviation) pair.worst[rising] = std::max(pair.worst[rising].value_or(0), *figures.deviation);
  }
}

std::array<std::uint32_t, 2> StepBook::of_rail(steadyrail::proto::Rail rail) const {
  const auto index = static_cast<std::size_t>(rail);
  return index < by_rail_.size() ? by_rail_[index] : std::array<std::uint32_t, 2>{};
}

std::optional<double> StepBook::ohm(std::size_t voltage) const {
  const auto pair = std::ranges::find(pairs_, voltage, &Pair::voltage);
  if (pair == pairs_.end()) return std::nullopt;
  for (const Source* source : {&pair->capture[1], &pair->window[1]}) {
    if (source->ohm.seen() >= kEnoughSteps) return source->ohm.median();
  }
  return std::nullopt;
}

void StepBook::write(steadyrail::proto::SessionResult& result) const {
  const double rate = jig_.scan_rate_hz();
  for (const Pair& pair : pairs_) {
    for (std::size_t rising : {1U, 0U}) {
      if (pair.steps[rising] == 0 && pair.capture[rising].step.seen() == 0) continue;
      const bool captured = pair.capture[rising].step.seen() >= kEnoughSteps || pair.window[rising].step.seen() == 0;
      const Source& source = captured ? pair.capture[rising] : pair.window[rising];
      auto* to = result.add_steps();
      to->set_channel(jig_.at(pair.voltage)->name);
      to->set_current_channel(jig_.at(pair.current)->name);
      to->set_rising(rising == 1);
      to->set_steps(static_cast<std::uint32_t>(std::min<std::uint64_t>(pair.steps[rising], UINT32_MAX)));
      to->set_measured(static_cast<std::uint32_t>(std::min<std::uint64_t>(source.step.seen(), UINT32_MAX)));
      to->set_source(source.step.seen() == 0 ? steadyrail::proto::FIGURE_SOURCE_UNKNOWN
                     : captured              ? steadyrail::proto::FIGURE_SOURCE_CAPTURE
                                             : steadyrail::proto::FIGURE_SOURCE_WINDOW);
      if (const auto median = source.step.median()) to->set_step_a_median(*median);
      if (const auto median = source.deviation.median()) to->set_deviation_v_median(*median);
      if (const auto median = source.undershoot.median()) to->set_undershoot_v_median(*median);
      if (const auto median = source.shift.median()) to->set_settled_shift_v_median(*median);
      if (pair.worst[rising]) to->set_deviation_v_worst(*pair.worst[rising]);
      // Times come from captures alone: a window cannot tell them.
      const Source& times = pair.capture[rising];
      if (const auto median = times.minimum.median()) to->set_time_to_minimum_s_median(*median / rate);
      if (const auto median = times.recovery.median()) to->set_recovery_s_median(*median / rate);
      to->set_recoveries(static_cast<std::uint32_t>(std::min<std::uint64_t>(times.recovery.seen(), UINT32_MAX)));
      to->set_stayed_in_band(pair.stayed_in_band[rising]);
      to->set_beyond_specified(pair.beyond[rising]);
      if (pair.specified_a) to->set_specified_step_a(*pair.specified_a);
    }
  }
}

}  // namespace host::detect
