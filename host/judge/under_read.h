// SPDX-License-Identifier: Apache-2.0
// How much of a short dip the analogue chain and the sampling hide: the worst sampled fraction of a rectangular dip.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace host::judge {

/// Worst sampled fractions for a chain of real poles at one scan rate, tabulated once.
class UnderRead {
 public:
  /// `pole_hz`: -3 dB frequency of each pole, above 0 (none: an ideal chain); `scan_rate_hz` above 0.
  UnderRead(std::span<const double> pole_hz, double scan_rate_hz);

  /// Least fraction, over all phases of sampling, of a rectangular dip of `width_s` that some sample shows; 0..1.
  double worst_fraction(double width_s) const;

  /// Bound of what is hidden beyond a sampled depth (V, 0 or more) of a dip at least `width_s` wide; nothing:
  /// unbounded.
  std::optional<double> bound(double depth, double width_s) const;

  /// The same for a dip that showed in `samples` consecutive samples: it may be as narrow as samples - 1 scan periods,
  /// so a single sample bounds nothing.
  std::optional<double> bound_of_samples(double depth, double samples) const;

 private:
  double at(double grid) const;

  double scan_period_s_;
  std::vector<double> step_response_;  // 200 points a scan period, until it stands within 1e-9 of 1
  std::vector<double> by_scans_;       // worst fraction of dips of 0, 1, 2, ... scan periods; the last for all beyond
};

}  // namespace host::judge
