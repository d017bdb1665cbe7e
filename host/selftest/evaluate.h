// SPDX-License-Identifier: Apache-2.0
// What a self-test found: every item with figure, limit and the limit's source.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "host/selftest/plan.h"

namespace host::selftest {

/// Some scans of every channel while one stimulus stood.
struct Observed {
  Stimulus stimulus;
  double scans = 0;  // 0: it was never reached
  std::array<double, wire::kChannelCount> mean_code{};
  std::array<double, wire::kChannelCount> deviation_code{};
  std::uint32_t clipped_mask = 0;
};

/// The two scans between which the step passed a channel's threshold.
struct StepSeen {
  std::size_t channel = 0;
  double scan_before = 0;
  double code_before = 0;
  double code_after = 0;
};

struct ClockSeen {
  double ppm = 0;
  double uncertainty_ppm = 0;
};

struct Observations {
  std::vector<Observed> stimuli;  // as planned
  std::vector<StepSeen> steps;    // at most one a channel
  std::optional<ClockSeen> clock;
};

/// Items, outcome, what was not tested and corrections; identity and time are the caller's. An item passes when figure
/// and its uncertainty stay within the limit, fails when both lie beyond, and is undecided between, or where what it
/// needs is missing.
steadyrail::proto::SelfTestReport evaluate(const steadyrail::proto::TestSetup& setup, const model::Jig& jig,
                                           const Observations& seen);

}  // namespace host::selftest
