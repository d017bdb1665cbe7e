// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/supply.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "link.pb.h"
#include "tests/unit/host/simulate/session_fixture.h"

namespace host::simulate {
namespace {

/// Codes of the first `blocks` blocks, back to back.
std::vector<std::int16_t> codes_of(Supply& supply, int blocks) {
  std::vector<std::int16_t> all;
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  for (int i = 0; i < blocks; ++i) {
    supply.next_block(codes, edges, {});
    for (const auto& scan : codes) all.insert(all.end(), scan.begin(), scan.end());
  }
  return all;
}

TEST(SupplyTest, SameSeedGivesSameCodes) {
  auto first = Supply::create("healthy", 7, reference_jig());
  auto second = Supply::create("healthy", 7, reference_jig());
  ASSERT_TRUE(first && second);
  EXPECT_EQ(codes_of(*first, 1000), codes_of(*second, 1000));
}

TEST(SupplyTest, AnotherSeedGivesOtherCodes) {
  auto first = Supply::create("healthy", 7, reference_jig());
  auto second = Supply::create("healthy", 8, reference_jig());
  ASSERT_TRUE(first && second);
  EXPECT_NE(codes_of(*first, 100), codes_of(*second, 100));
}

TEST(SupplyTest, UnknownScenarioIsRefusedWithTheKnownOnes) {
  const auto supply = Supply::create("healthier", 1, reference_jig());
  ASSERT_FALSE(supply.has_value());
  EXPECT_NE(supply.error().find("'healthier'"), std::string::npos);
  EXPECT_NE(supply.error().find("healthy"), std::string::npos);
}

TEST(SupplyTest, AnotherScanRateIsRefused) {
  steadyrail::proto::JigDescription jig = reference_jig().description();
  jig.set_scan_rate_hz(16000);
  EXPECT_FALSE(Supply::create("healthy", 1, jig).has_value());
}

/// First time a channel passes `volts` upwards, s.
double rises_at(const std::vector<double>& values, double volts) {
  const auto found = std::ranges::find_if(values, [&](double v) { return v > volts; });
  return static_cast<double>(found - values.begin()) / 32000;
}

// PS_ON# low to rails 50-120 ms plus the ramp; rails within limits to PWR_OK 100-250 ms; ramp 5-12 ms: as set out for
// this supply, and inside ATX's 500 ms, 100-500 ms and 0.2-20 ms.
TEST(SupplyStartTest, FollowsItsSequence) {
  for (const std::uint64_t seed : {1u, 2u, 3u, 4u}) {
    const Session session("healthy", seed, 1, {.from_standby = true});
    const auto asked = session.edge_times(steadyrail::proto::LINE_PS_ON, false);
    const auto good = session.edge_times(steadyrail::proto::LINE_PWR_OK, true);
    ASSERT_EQ(asked.size(), 1u);
    ASSERT_EQ(good.size(), 1u);
    EXPECT_NEAR(asked[0], 0.2, 1e-3);
    const std::vector<double> v12 = session.values("main-12v");
    const double begun = rises_at(v12, 1.2);
    const double within = rises_at(v12, 11.4);
    EXPECT_GT(begun - asked[0], 0.050);
    EXPECT_LT(begun - asked[0], 0.122);
    EXPECT_GT(within - begun, 0.004);
    EXPECT_LT(within - begun, 0.012);
    EXPECT_GT(good[0] - within, 0.099);
    EXPECT_LT(good[0] - within, 0.252);
    EXPECT_GT(session.least("standby-5v"), 4.75);
  }
}

TEST(SupplyStartTest, LowerRailsStayBelowTheHigherOnes) {
  const Session session("healthy", 2, 0.4, {.from_standby = true});
  const std::vector<double> v12 = session.values("main-12v");
  const std::vector<double> v5 = session.values("main-5v");
  const std::vector<double> v3 = session.values("main-3v3");
  for (std::size_t i = 0; i < v12.size(); ++i) {
    EXPECT_LT(v3[i], v5[i] + 0.05);
    EXPECT_LT(v5[i], v12[i] + 0.05);
  }
}

TEST(SupplyLoadBankTest, StartsOnTheJigsOwnSwitchAndCarriesItsGates) {
  const wire::JigOutputs outputs{.from_scan = 0, .gates = 0b1000, .ps_on_driven = 1};
  const Session session("healthy", 1, 1, {.load_bank = true}, outputs);
  const std::vector<double> amps = session.values("current-graphics-1");
  EXPECT_NEAR(amps.back(), 9.71, 0.6);  // of the description's load_bank; channel noise and calibration take the rest
  EXPECT_LT(std::abs(session.values("current-graphics-2").back()), 0.6);
  const Session idle("healthy", 1, 1, {.load_bank = true});
  EXPECT_LT(idle.most("main-12v"), 0.5);
}

/// An edge in the middle of a block loads the supply from there on: half of the block's scans see the branch.
TEST(SupplyLoadBankTest, TakesAGateEdgeWhereItLies) {
  auto supply = Supply::create("healthy", 1, reference_jig(), {.load_bank = true});
  ASSERT_TRUE(supply.has_value());
  const std::size_t channel = reference_jig().find("current-graphics-1")->index;
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  for (int block = 0; block < 1000; ++block) supply->next_block(codes, edges, {.ps_on_driven = 1});
  wire::JigOutputs outputs{.ps_on_driven = 1, .edge_count = 1};
  outputs.edges[0] = {.offset = 16, .offset_256 = 0, .gates = 0b1000};
  supply->next_block(codes, edges, outputs);
  const int step = codes[31][channel] - codes[0][channel];
  EXPECT_GT(step, 0);
  EXPECT_LT(std::abs(codes[15][channel] - codes[0][channel]), step / 10);
  EXPECT_GT(codes[26][channel] - codes[0][channel], step * 9 / 10) << "ten scans later it has settled";
}

TEST(SupplyLoadBankTest, IsSwitchedOffAgain) {
  auto supply = Supply::create("healthy", 1, reference_jig(), {.load_bank = true});
  ASSERT_TRUE(supply.has_value());
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  bool good = false;
  for (int block = 0; block < 1500; ++block) {
    supply->next_block(codes, edges, {.from_scan = 0, .gates = 0, .ps_on_driven = block < 1000});
    for (const wire::ScanEdge& edge : edges) {
      if (edge.line == steadyrail::proto::LINE_PWR_OK) good = edge.high != 0;
    }
    EXPECT_TRUE(block != 999 || good);
  }
  EXPECT_FALSE(good);
}

}  // namespace
}  // namespace host::simulate
