// SPDX-License-Identifier: Apache-2.0
// Closed forms against the supply simulated scan by scan under the same loads.
#include "tests/trial/wave.h"

#include <algorithm>
#include <cmath>

#include <gtest/gtest.h>

#include "host/simulate/random.h"
#include "tests/trial/case.h"
#include "tests/trial/judged.h"

namespace trial {
namespace {

constexpr Scan kEnd = 3200;  // 100 ms

struct Change {
  Scan at;
  Source source;
  double amps;
};

/// A tenth of a second of a game: steps of all sources at random.
std::vector<Change> changes(std::uint64_t seed) {
  host::simulate::Random random(seed, 1);
  std::vector<Change> out;
  for (Scan at = 400; at < kEnd - 100; at += 20 + static_cast<Scan>(random.uniform() * 120)) {
    const auto source = static_cast<Source>(random.bits() % kSources);
    constexpr Levels kLeast = {5, 6, 0.5, 4, 4, 0.6};
    constexpr Levels kMost = {40, 15, 1.2, 7, 7, 0.7};
    out.push_back({at, source, random.uniform(kLeast[source], kMost[source])});
  }
  return out;
}

// The supply is linear while it regulates: superposed step responses are exact but for where they are cut off. A
// simulated start differs in no state, so nothing but rounding is left.
TEST(WaveTest, ClosedFormsAreTheSimulatedSupply) {
  const auto bench = Bench::create();
  ASSERT_TRUE(bench.has_value()) << bench.error();
  for (const std::string_view kind : {"healthy", "loose-connector", "group-regulated", "tired-capacitors"}) {
    SCOPED_TRACE(kind);
    const auto one = draw(kind, 4, *bench->judging.unit);
    ASSERT_TRUE(one.has_value());
    const Chain chain(bench->jig, 4);
    Detail detail(one->plan.supply, bench->jig, chain, 4);
    const Responses responses(detail);
    const Levels first = {5, 6, 0.5, 4, 4, 0.6};
    Wave wave(responses, first, {.channel = 7}, {});
    const std::vector<Change> all = changes(4);
    for (const Change& change : all) wave.step(change.at, change.source, change.amps);

    Surroundings here;
    here.amps = amps_of(first, false);
    detail.settle(here);
    Levels levels = first;
    std::array<host::simulate::TapAmps, 3> wanted;
    wanted.fill(here.amps);
    std::array<std::vector<float>, kSeen> simulated;
    std::size_t next = 0;
    for (Scan scan = 0; scan < kEnd; ++scan) {
      const Reading reading = detail.reading();
      for (std::size_t c = 0; c < kSeen; ++c) simulated[c].push_back(reading[c]);
      for (; next < all.size() && all[next].at <= scan; ++next) levels[all[next].source] = all[next].amps;
      wanted[static_cast<std::size_t>(scan) % 3] = amps_of(levels, false);
      for (std::size_t t = 0; t < here.amps.size(); ++t)
        here.amps[t] = (wanted[0][t] + wanted[1][t] + wanted[2][t]) / 3;
      detail.run(here);
    }
    for (std::size_t c = 0; c < kSeen; ++c) {
      if (c == 7) continue;                                    // the mains is none of its business
      const double unit = c < wire::kChannelCount ? 1 : 1e-3;  // loads are in V
      double worst = 0;
      double worst_bound = 0;
      for (Scan from = 0; from + 32 <= kEnd; from += 32) {
        std::array<float, 32> closed;
        const Wave::Window window = wave.window(from);
        wave.samples(window, c, closed.data());
        double sum = 0;
        for (std::size_t n = 0; n < 32; ++n) {
          const float at = simulated[c][static_cast<std::size_t>(from) + n];
          worst = std::max(worst, std::abs(static_cast<double>(closed[n]) - static_cast<double>(at)));
          sum += static_cast<double>(at);
        }
        const Wave::Bounds bounds = wave.bounds(window, c);
        worst = std::max(worst, std::abs(bounds.mean - sum / 32));
        if (bounds.doubt > 8 * unit) continue;
        const auto begin = simulated[c].begin() + from;
        const auto [least, most] = std::minmax_element(begin, begin + 32);
        worst_bound = std::max({worst_bound, std::abs(bounds.least - static_cast<double>(*least)),
                                std::abs(bounds.most - static_cast<double>(*most))});
      }
      // A step is taken as settled within a code (0.3 mV of +12 V, less than the noise); a few of them add up.
      EXPECT_LT(worst, 4 * unit) << "channel " << c;
      EXPECT_LT(worst_bound, 12 * unit) << "channel " << c;
    }
  }
}

}  // namespace
}  // namespace trial
