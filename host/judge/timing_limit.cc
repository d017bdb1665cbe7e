// SPDX-License-Identifier: Apache-2.0
#include "host/judge/timing_limit.h"

#include <algorithm>
#include <utility>

namespace host::judge {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

constexpr std::pair<Timing, Quantity> kTimes[] = {
    {TIMING_STANDBY_START, QUANTITY_STANDBY_START},
    {TIMING_POWER_ON, QUANTITY_POWER_ON_TIME},
    {TIMING_RISE, QUANTITY_RISE_TIME},
    {TIMING_PWR_OK_DELAY, QUANTITY_PWR_OK_DELAY},
    {TIMING_PWR_OK_RISE, QUANTITY_PWR_OK_RISE_TIME},
    {TIMING_MAINS_LOSS_TO_PWR_OK, QUANTITY_MAINS_LOSS_TO_PWR_OK},
    {TIMING_PWR_OK_TO_RAILS, QUANTITY_PWR_OK_TO_RAILS},
    {TIMING_HOLD_UP, QUANTITY_HOLD_UP},
};

}  // namespace

Quantity quantity_of(Timing timing) {
  const auto* found = std::ranges::find(kTimes, timing, &std::pair<Timing, Quantity>::first);
  return found == std::end(kTimes) ? QUANTITY_UNKNOWN : found->second;
}

const TimingLimit* timing_limit(const LimitSet& limits, Quantity quantity) {
  for (const TimingLimit& row : limits.timing()) {
    if (quantity != QUANTITY_UNKNOWN && quantity_of(row.timing()) == quantity) return &row;
  }
  return nullptr;
}

std::string unit_of(Quantity quantity) {
  const auto* found = std::ranges::find(kTimes, quantity, &std::pair<Timing, Quantity>::second);
  if (found != std::end(kTimes)) return "s";
  return quantity == QUANTITY_RISE_SLOPE ? "V/ms" : "V";
}

}  // namespace host::judge
