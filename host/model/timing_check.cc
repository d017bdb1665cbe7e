// SPDX-License-Identifier: Apache-2.0
#include "host/model/timing_check.h"

#include <set>

#include <fmt/format.h>

namespace host::model {
namespace {

using steadyrail::proto::LimitSet;
using steadyrail::proto::LimitStatus;
using steadyrail::proto::Timing;
using steadyrail::proto::TimingLimit;

template <typename Row>
void origin(const Row& row, const Place& at, TextErrors& errors) {
  if (row.table().empty()) errors.push_back(at.error("table", "a limit names no table"));
  if (row.source().empty()) errors.push_back(at.error("source", "a limit names no source"));
  if (row.status() == LimitStatus::LIMIT_STATUS_UNKNOWN) {
    errors.push_back(at.error("status", "a limit does not say whether it was read, secondary or from memory"));
  }
}

void time(const TimingLimit& row, const Place& at, std::set<Timing>& seen, TextErrors& errors) {
  if (row.timing() == Timing::TIMING_UNKNOWN) errors.push_back(at.error("timing", "a time does not say which"));
  if (!seen.insert(row.timing()).second) errors.push_back(at.error("timing", "a time has two limits"));
  if (row.symbol().empty()) errors.push_back(at.error("symbol", "a time has no symbol"));
  if (!row.has_least_us() && !row.has_most_us()) {
    errors.push_back(at.error("timing", "a time has neither least_us nor most_us"));
  }
  if (row.has_least_us() && row.has_most_us() && row.least_us() >= row.most_us()) {
    errors.push_back(
        at.error("least_us", fmt::format("least {} us is not below most {} us", row.least_us(), row.most_us())));
  }
  constexpr std::uint32_t kMost = 60'000'000;
  if (row.least_us() > kMost) errors.push_back(at.error("least_us", "least_us is more than a minute"));
  if (row.most_us() > kMost) errors.push_back(at.error("most_us", "most_us is more than a minute"));
}

void ramp(const LimitSet& limits, const Place& at, TextErrors& errors) {
  const auto& row = limits.ramp();
  if (!(row.from_share() > 0 && row.from_share() < row.to_share() && row.to_share() < 1)) {
    errors.push_back(at.error("from_share", "from_share and to_share must rise between 0 and 1"));
  }
  if (!(row.segment_s() > 0 && row.segment_s() <= 1)) {
    errors.push_back(at.error("segment_s", "segment_s must be above 0, at most 1"));
  }
  if (!(row.slope_least_per_s() > 0 && row.slope_least_per_s() <= 1e6)) {
    errors.push_back(at.error("slope_least_per_s", "slope_least_per_s must be above 0"));
  }
  if (!(row.overshoot_most_share() >= 0 && row.overshoot_most_share() <= 1)) {
    errors.push_back(at.error("overshoot_most_share", "overshoot_most_share is not a share of nominal"));
  }
  if (row.overshoot_most_share() > 0 && row.overshoot_status() == LimitStatus::LIMIT_STATUS_UNKNOWN) {
    errors.push_back(at.error("overshoot_status", "the overshoot does not say where it is known from"));
  }
  origin(row, at, errors);
}

void pwr_ok(const LimitSet& limits, const Place& at, TextErrors& errors) {
  const auto& row = limits.pwr_ok();
  constexpr std::int64_t kMost = 6'000'000;
  if (!(row.low_most_uv() > 0 && row.low_most_uv() < row.high_least_uv() && row.high_least_uv() <= kMost)) {
    errors.push_back(at.error("low_most_uv", "low_most_uv and high_least_uv must rise between 0 and 6 V"));
  }
  if (row.noise_most_uvpp() < 0 || row.noise_most_uvpp() > kMost) {
    errors.push_back(at.error("noise_most_uvpp", "noise_most_uvpp is no level of a logic signal"));
  }
  if (row.noise_most_uvpp() > 0 && row.noise_status() == LimitStatus::LIMIT_STATUS_UNKNOWN) {
    errors.push_back(at.error("noise_status", "the noise does not say where it is known from"));
  }
  origin(row, at, errors);
}

}  // namespace

TextErrors timing_contradictions(const LimitSet& limits, const Place& place) {
  TextErrors errors;
  std::set<Timing> seen;
  for (int i = 0; i < limits.timing_size(); ++i) {
    const Place at = place.nested("timing", i);
    time(limits.timing(i), at, seen, errors);
    origin(limits.timing(i), at, errors);
  }
  if (limits.has_ramp()) ramp(limits, place.nested("ramp"), errors);
  if (limits.has_pwr_ok()) pwr_ok(limits, place.nested("pwr_ok"), errors);
  if (limits.has_rail_order()) {
    const Place at = place.nested("rail_order");
    if (limits.rail_order().above_most_uv() < 0 || limits.rail_order().above_most_uv() > 3'000'000) {
      errors.push_back(at.error("above_most_uv", "above_most_uv is not between 0 and 3 V"));
    }
    origin(limits.rail_order(), at, errors);
  }
  return errors;
}

}  // namespace host::model
