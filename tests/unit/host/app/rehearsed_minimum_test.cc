// SPDX-License-Identifier: Apache-2.0
// A weak rail rehearsed through the whole chain: virtual jig, line, recording, review. What is reported of each dip
// against what the simulated supply truly did at the plug, which only a test can see.
#include <algorithm>
#include <array>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "host/app/judging.h"
#include "host/decode/review_file.h"
#include "host/detect/review.h"
#include "host/simulate/world.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr std::uint64_t kSeed = 7;
constexpr std::uint64_t kSeconds = 6;

struct Watched {
  const char* channel;
  simulate::Tap tap;
};
constexpr std::array<Watched, 7> kWatched = {{{"main-12v", simulate::k12Main},
                                              {"processor-1", simulate::k12Processor1},
                                              {"processor-2", simulate::k12Processor2},
                                              {"graphics-1", simulate::k12Graphics1},
                                              {"graphics-2", simulate::k12Graphics2},
                                              {"graphics-3", simulate::k12Graphics3},
                                              {"peripheral-12v", simulate::k12Peripheral}}};

/// Least voltage at each plug in each scan, of eight instants a scan.
std::vector<std::array<double, kWatched.size()>> true_minima(const model::Jig& jig) {
  auto front_end = simulate::FrontEnd::create(jig.description(), kSeed, simulate::kSubStepS);
  simulate::World world(simulate::supply_of("weak-12v").value(), std::move(*front_end), kSeed, true);
  std::vector<std::array<double, kWatched.size()>> minima;
  world.watch([&](std::uint64_t, const simulate::Signals& signals) {
    auto& scan = minima.emplace_back();
    for (std::size_t i = 0; i < kWatched.size(); ++i) {
      scan[i] = *std::ranges::min_element(signals[std::size_t{simulate::kTapVolts} + kWatched[i].tap]);
    }
  });
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  while (world.scan() < kSeconds * 32000) world.next_block(codes, edges, {});
  return minima;
}

TEST(RehearsedMinimumTest, TrueDipsOfAWeakRailLieWithinWhatIsReported) {
  const std::string out =
      fmt::format("{}/rehearsed_minimum_{}.steadyrail", STEADYRAIL_BUILD_DIR, static_cast<int>(getpid()));
  const std::string command =
      fmt::format("'{}/bin/steadyrail' rehearse --scenario weak-12v --seed {} --for {}s --out '{}' > /dev/null 2>&1",
                  STEADYRAIL_BUILD_DIR, kSeed, kSeconds, out);
  ASSERT_NE(std::system(command.c_str()), -1);
  const auto edition = load_edition("atx-3.0");
  ASSERT_TRUE(edition.has_value());
  detect::ReviewOptions options = detectors({.unit = {}, .limits = *edition});
  options.events_listed_max = 10000;
  detect::Review review(options);
  ASSERT_TRUE(decode::review_file(out, review).has_value()) << command;
  std::filesystem::remove(out);
  const proto::SessionResult result = review.result();

  const auto jig = load_jig("reference");
  ASSERT_TRUE(jig.has_value());
  const auto minima = true_minima(*jig);
  int judged = 0;
  double hidden_most = 0;
  for (const proto::EventResult& event : result.events()) {
    const auto place = std::ranges::find(kWatched, event.channel(), &Watched::channel);
    if (event.kind() != proto::EVENT_KIND_EXCURSION || place == kWatched.end() || !event.has_bias_bound_v()) continue;
    if (event.storm_excursions() > 0 || event.side() != "low" || event.truncated()) continue;
    const auto column = static_cast<std::size_t>(place - kWatched.begin());
    const auto first = static_cast<std::size_t>(event.start_s() * 32000);
    const auto last = static_cast<std::size_t>((event.start_s() + event.duration_s()) * 32000) + 2;
    double truth = 100;
    for (std::size_t scan = first > 3 ? first - 3 : 0; scan < std::min(last, minima.size()); ++scan) {
      truth = std::min(truth, minima[scan][column]);
    }
    const double u = event.expanded_uncertainty_v();
    EXPECT_LE(truth, event.extreme_v() + u) << event.channel() << " at " << event.start_s();
    EXPECT_GE(truth, event.extreme_v() - u - event.bias_bound_v()) << event.channel() << " at " << event.start_s();
    hidden_most = std::max(hidden_most, event.extreme_v() - truth);
    ++judged;
  }
  std::printf("%d dips, hidden at most %.1f mV (seed %llu)\n", judged, 1e3 * hidden_most,
              static_cast<unsigned long long>(kSeed));
  EXPECT_GT(judged, 20);
  EXPECT_GT(hidden_most, 0.0105);  // more than U: without the bound some of these reports would be wrong
}

}  // namespace
}  // namespace host::app
