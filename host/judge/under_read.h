// SPDX-License-Identifier: Apache-2.0
// How much of a dip the analogue chain and the sampling hide. Two shapes are bounded, since neither covers the other: a
// flat bottom of some width (worst sampled fraction) and a peak between two flanks (steepness). What may be hidden is
// the greater of the two.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace host::judge {

/// Shortest flank the bounds by steepness speak for, in scans; own choice.
inline constexpr int kFlankScans = 3;

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

  /// Bound of what is hidden beyond a sampled peak whose flanks last kFlankScans or longer. `steepest`: greatest
  /// difference of two neighbouring readings within reach_scans() of the extreme, 0 or more; the same unit comes back.
  ///
  /// The response h of real poles is never negative and has area 1, so of a level x with slopes up to S the output c
  /// after its peak at t0 lies at most S g(c) inside, g(c) = integral of h(s) |s - c| ds. Some reading falls into every
  /// stretch of one scan period: the peak hides at most S min over a of max(g(a), g(a + Ts)), g being convex. For two
  /// equal poles g(2 tau) = 8 e^-2 tau = 1.083 tau. Readings average slopes too: S is the steepest reading over the
  /// worst share of a flank's slope that some pair of neighbours shows.
  double bound_of_steepness(double steepest) const { return steepest * peak_scans_ / steepness_shown_; }
  /// The same where only the span between the highest and the lowest reading round the extreme is known: a flank of
  /// kFlankScans rises by no more than the span and what its two ends hide. Nothing: a chain too slow for that.
  std::optional<double> bound_of_span(double span) const;
  /// How far from an extreme, in scans, the slopes lie that shaped its reading.
  std::size_t reach_scans() const { return reach_scans_; }

 private:
  double at(double grid) const;
  void bound_peaks();

  double scan_period_s_;
  std::vector<double> step_response_;  // 200 points a scan period, until it stands within 1e-9 of 1
  std::vector<double> by_scans_;       // worst fraction of dips of 0, 1, 2, ... scan periods; the last for all beyond
  double peak_scans_ = 0;              // hidden by a peak of slope 1 per scan
  double steepness_shown_ = 1;         // worst share of a flank's slope that neighbouring readings show
  std::size_t reach_scans_ = 0;
};

}  // namespace host::judge
