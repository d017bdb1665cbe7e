// SPDX-License-Identifier: Apache-2.0
// Load steps of a current channel, scan by scan: the definition itself, used on captures. The chip runs the same rule.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace host::detect {

/// D[n] = mean(i[n + gap, n + gap + span)) - mean(i[n - span, n)): the gap spans the edge.
struct StepRule {
  double least = 1;         // A
  double sigma = 0;         // noise of one sample, A
  std::uint32_t span = 16;  // scans averaged on either side
  std::uint32_t gap = 4;    // longer than the edge, so that D has a plateau
};

/// Times in scans from the start of the samples, interpolated.
struct ScanStep {
  std::uint64_t at = 0;  // middle of the plateau of D, the lower one of an even number
  double step = 0;       // A, after minus before
  double t10 = 0, t50 = 0, t90 = 0;
  bool slew_is_bound = false;  // the edge took less than 3 scans: its slew is "at least"
  double edge_scans() const { return t90 - t10; }
};

/// Standard deviation of D from noise alone.
double difference_sigma(const StepRule& rule);

/// Steps above `least` and six standard deviations of D, each the greatest within span + gap on both sides. Of equal
/// ones within that reach, as noise in whole codes can part a plateau in two, the first stands: an edge is one step.
std::vector<ScanStep> find_steps(std::span<const double> amps, const StepRule& rule);

/// A/s between 10 % and 90 % of the step.
double slew(const ScanStep& step, double scan_rate_hz);

}  // namespace host::detect
