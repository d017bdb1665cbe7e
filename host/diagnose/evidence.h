// SPDX-License-Identifier: Apache-2.0
// How strongly lock-ups speak for or against the supply: hits against the chance of a hit in the same load state.
#pragma once

#include <cstdint>
#include <span>

namespace host::diagnose {

/// One lock-up. A hit: an event of the declared classes began in the declared window before it.
struct Look {
  double base = 0;  // chance of a hit in a window of the same load state, above 0 and below 1
  bool hit = false;
  double reliance = 1;  // chance that it was a lock-up at all; else it is a moment like any other of its load state
};

/// Product over lock-ups of q / base for a hit and (1 - q) / (1 - base) for a miss, drawn towards 1 by what is missing
/// from the reliance (r times that, and 1 - r: the law of total probability); 1 without lock-ups. `q`: chance of
/// a hit if the supply is at fault, 0 < q < 1. Lock-ups whose windows overlap must have been joined before.
double likelihood_ratio(std::span<const Look> looks, double q);

/// Chance of at least as many hits if lock-ups had nothing to do with events: the exact sum over all ways to hit, each
/// lock-up with its own base. 1 without lock-ups.
double p_value(std::span<const Look> looks);

/// `p` after `tries` pairs of event class and window were looked at (Bonferroni); at most 1.
double after_looks(double p, std::uint32_t tries);

/// A ratio above 1 after as many looks, divided by them: the mean of an innocent supply's best of so many stays at 1 or
/// below (the greatest of ratios is at most their sum). At least 1 where it was; a ratio below 1 stays.
double after_looks_ratio(double ratio, std::uint32_t tries);

/// Base chance from `hits` among `windows` disjoint windows of the same load state: (x + 1/2) / (m + 1).
double base_chance(std::uint64_t hits, std::uint64_t windows);
/// Its upper bound at `confidence`, one-sided, by Clopper and Pearson; 1 where every window was hit or there was none.
double base_chance_upper(std::uint64_t hits, std::uint64_t windows, double confidence);

/// Upper bound at `confidence` of the rate of events of which `count` were seen in `hours`, exact for a Poisson
/// process: chi2(confidence, 2 (count + 1)) / 2 / hours. Infinite for no hours.
double rate_upper_per_h(std::uint64_t count, double hours, double confidence);

/// Words for a likelihood ratio; a scale of our own, printed beside it.
enum class Strength : std::uint8_t {
  kAgainst,        // below 0.1: speaks against the supply
  kNoInformation,  // 0.1 to 10
  kWeak,           // to 100
  kStrong,         // to 10,000
  kVeryStrong,
};

/// Fewer than two lock-ups are never more than strong.
Strength strength(double ratio, std::size_t lockups);

}  // namespace host::diagnose
