// SPDX-License-Identifier: Apache-2.0
// Exact statistics of small counts: no normal approximation where a handful of lock-ups decides.
#pragma once

#include <cstdint>
#include <optional>

namespace host::diagnose {

/// Two groups, each with counts of two outcomes.
struct TwoByTwo {
  std::uint64_t with_a = 0;
  std::uint64_t without_a = 0;
  std::uint64_t with_b = 0;
  std::uint64_t without_b = 0;
};

struct FisherTest {
  double two_sided = 1;  // all tables with these margins that are no likelier than this one
  double fewer_in_b = 1;
};

/// Fisher's exact test (R. A. Fisher, The Design of Experiments, 1935). The two-sided rule is the usual one: tables
/// whose chance exceeds this one's by less than 1e-7 of it count as equal. Each count below 2^31.
FisherTest fisher(const TwoByTwo& table);

struct Bounds {
  double low = 0;
  std::optional<double> high;  // absent: none
};

/// Rate of a Poisson process of which `count` events were seen in `hours`, two-sided: chi2 quantiles (Garwood 1936).
Bounds rate_bounds_per_h(std::uint64_t count, double hours, double confidence);

/// Rate of B over rate of A, given the total: the share of B among all events is binomial (Clopper and Pearson 1934).
Bounds rate_ratio_bounds(std::uint64_t count_a, double hours_a, std::uint64_t count_b, double hours_b,
                         double confidence);

}  // namespace host::diagnose
