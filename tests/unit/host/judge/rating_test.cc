// SPDX-License-Identifier: Apache-2.0
// Expected states are worked by hand from the ratings below: +12 V 50 A, total 600 W, excursions 180 % up to 1 ms and
// 120 % up to 100 ms for large supplies, 145 % and 110 % for small ones.
#include "host/judge/rating.h"

#include <gtest/gtest.h>

#include "host/judge/limit.h"

namespace host::judge {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

constexpr char kJig[] = R"pb(
  id: "J-01"
  scan_rate_hz: 32000
  channels {
    index: 0
    name: "graphics-1"
    kind: CHANNEL_KIND_RAIL_VOLTAGE
    rail: RAIL_P12V
    connector: "graphics-1"
    input: "g.0"
    unit_per_code: 3.0625e-4
    unit_at_code_0: 10.0352
    pole_hz: [ 14200, 14200 ]
    current_channel: "ig1"
  }
  channels {
    index: 1
    name: "standby"
    kind: CHANNEL_KIND_RAIL_VOLTAGE
    rail: RAIL_P5VSB
    connector: "main"
    input: "g.1"
    unit_per_code: 1.25e-4
    unit_at_code_0: 4.1
    pole_hz: [ 14200, 14200 ]
  }
  channels {
    index: 2
    name: "ig1"
    kind: CHANNEL_KIND_CURRENT
    rail: RAIL_P12V
    connector: "graphics-1"
    input: "g.2"
    unit_per_code: 5e-3
    unit_at_code_0: 0
    pole_hz: [ 14200, 14200 ]
  }
  channels {
    index: 3
    name: "ip"
    kind: CHANNEL_KIND_CURRENT
    rail: RAIL_P12V
    connector: "processor-1"
    input: "g.3"
    unit_per_code: 5e-3
    unit_at_code_0: 0
    pole_hz: [ 14200, 14200 ]
  }
  calibration {
    id: "C-1"
    date: "2026-01-01"
    due: "2027-01-01"
    channels { channel: "ig1" gain: 1 u_other: 0.05 }
    channels { channel: "ip" gain: 1 u_other: 0.05 }
  })pb";

class RatingTest : public testing::Test {
 protected:
  RatingTest() : jig_(model::Jig::from_text(kJig, "jig").value()) {
    unit_.set_total_w(600);
    auto* rail = unit_.add_rails();
    rail->set_rail(RAIL_P12V);
    rail->set_amps(50);
    const double rows[][3] = {{1e-3, 145, 180}, {0.1, 110, 120}};
    for (const auto& row : rows) {
      auto* to = limits_.add_excursion();
      to->set_duration_s(row[0]);
      to->set_percent_small(row[1]);
      to->set_percent_large(row[2]);
    }
  }
  /// One window of two currents, each from least to most; the state of +12 V.
  Load judge(Rating& rating, double g_low, double g_high, double p_low, double p_high) {
    BlockLoads loads;
    loads.low[2][0] = static_cast<float>(g_low);
    loads.high[2][0] = static_cast<float>(g_high);
    loads.low[3][0] = static_cast<float>(p_low);
    loads.high[3][0] = static_cast<float>(p_high);
    rating.judge(loads, 1, 1e-3, out_);
    return out_[RAIL_P12V][0];
  }
  model::Jig jig_;
  Unit unit_;
  LimitSet limits_;
  BlockRating out_{};
};

TEST_F(RatingTest, InsideTheLabel) {
  Rating rating(jig_, &unit_, &limits_);
  EXPECT_EQ(judge(rating, 20, 30, 10, 19), Load::kWithin);
  EXPECT_EQ(out_[RAIL_P5VSB][0], Load::kUnknown);  // no rating, no current channel
}

TEST_F(RatingTest, ShortExcursionIsAllowedAndALongOneIsNot) {
  Rating rating(jig_, &unit_, &limits_);
  // 60 A is 120 %: allowed for 1 ms by either column, between the columns up to 100 ms, beyond both afterwards.
  EXPECT_EQ(judge(rating, 45, 45, 15, 15), Load::kWithin);
  EXPECT_EQ(judge(rating, 45, 45, 15, 15), Load::kDoubtful);
  for (int i = 0; i < 98; ++i) judge(rating, 45, 45, 15, 15);
  EXPECT_EQ(judge(rating, 45, 45, 15, 15), Load::kOutside);
  EXPECT_EQ(out_[RAIL_P5VSB][0], Load::kOutside);  // the total is beyond its label: no rail is within
  // The way back, 10 ms, belongs to the overload: what the rail shows there is no non-conformity either.
  for (int i = 0; i < 10; ++i) EXPECT_EQ(judge(rating, 30, 30, 15, 15), Load::kOutside) << i;
  EXPECT_EQ(judge(rating, 30, 30, 15, 15), Load::kWithin);
  EXPECT_EQ(judge(rating, 45, 45, 15, 15), Load::kWithin);
}

// A remembered allowance leaves in doubt what a published one would hold against the supply.
TEST_F(RatingTest, AllowanceFromMemoryLeavesDoubt) {
  for (auto& row : *limits_.mutable_excursion()) row.set_status(steadyrail::proto::LIMIT_STATUS_FROM_MEMORY);
  Rating rating(jig_, &unit_, &limits_);
  EXPECT_EQ(judge(rating, 45, 45, 15, 15), Load::kDoubtful);
  EXPECT_EQ(judge(rating, 30, 30, 15, 15), Load::kWithin);
}

TEST_F(RatingTest, WithoutATableTheLabelIsTheLimit) {
  Rating rating(jig_, &unit_, nullptr);
  EXPECT_EQ(judge(rating, 45, 45, 15, 15), Load::kOutside);
  rating.gap();
  EXPECT_EQ(judge(rating, 35, 35, 15, 15), Load::kDoubtful);  // 50 A -+ 0.2 A: neither is certain
}

// Peaks of 30 A and 30 A need not coincide: between max(30 + 5, 5 + 30) and 60 A.
TEST_F(RatingTest, PeaksOfTwoChannelsAreOnlyABound) {
  Rating rating(jig_, &unit_, nullptr);
  EXPECT_EQ(judge(rating, 5, 30, 5, 30), Load::kDoubtful);
  EXPECT_EQ(judge(rating, 5, 55, 5, 10), Load::kOutside);
}

TEST_F(RatingTest, GapEndsAnOverload) {
  Rating rating(jig_, &unit_, &limits_);
  judge(rating, 45, 45, 15, 15);
  rating.gap();
  EXPECT_EQ(judge(rating, 45, 45, 15, 15), Load::kWithin);
}

TEST(WithinRatingTest, DoubtfulIsPrintedAsUnknown) {
  EXPECT_EQ(within_rating(Load::kDoubtful), WITHIN_RATING_UNKNOWN);
  EXPECT_EQ(within_rating(Load::kUnknown), WITHIN_RATING_UNKNOWN);
  EXPECT_EQ(within_rating(Load::kWithin), WITHIN_RATING_YES);
  EXPECT_EQ(within_rating(Load::kOutside), WITHIN_RATING_NO);
}

TEST_F(RatingTest, NoUnitNothingKnown) {
  Rating rating(jig_, nullptr, &limits_);
  EXPECT_EQ(judge(rating, 500, 500, 0, 0), Load::kUnknown);
  EXPECT_EQ(rating.remarks().size(), 1U);
}

TEST_F(RatingTest, SubRailNamesItsConnectors) {
  auto* sub = unit_.mutable_rails(0)->add_sub_rails();
  sub->set_name("V2");
  sub->set_amps(18);
  sub->add_connectors("processor-1");
  Rating rating(jig_, &unit_, nullptr);
  EXPECT_EQ(judge(rating, 20, 20, 17, 17), Load::kWithin);
  EXPECT_EQ(judge(rating, 20, 20, 20, 20), Load::kOutside);
}

TEST_F(RatingTest, CombinedLimitIsInWatts) {
  auto* combined = unit_.add_combined();
  combined->add_rails(RAIL_P12V);
  combined->set_watts(360);  // 30 A
  Rating rating(jig_, &unit_, nullptr);
  EXPECT_EQ(judge(rating, 19, 19, 10, 10), Load::kWithin);
  EXPECT_EQ(judge(rating, 21, 21, 10, 10), Load::kOutside);
}

TEST(LimitForTest, ConnectorRowWinsAndNegativeRailsAreSorted) {
  const model::Jig jig = model::Jig::from_text(kJig, "jig").value();
  LimitSet limits;
  limits.set_document("guide");
  auto* general = limits.add_regulation();
  general->set_rail(RAIL_P12V);
  general->set_least_uv(11400000);
  general->set_most_uv(12600000);
  auto* special = limits.add_regulation();
  special->set_rail(RAIL_P12V);
  special->set_least_uv(11040000);
  special->set_most_uv(12600000);
  special->set_table("Table 3-5");
  special->add_connectors("graphics-1");
  EXPECT_EQ(limit_for(limits, *jig.find("graphics-1"))->low.value, 11040000);
  EXPECT_EQ(limit_for(limits, *jig.find("graphics-1"))->source, "guide, Table 3-5");
  EXPECT_FALSE(limit_for(limits, *jig.find("standby")).has_value());
  EXPECT_FALSE(limit_for(limits, *jig.find("ig1")).has_value());
  model::JigChannel minus;
  minus.kind = CHANNEL_KIND_RAIL_VOLTAGE;
  minus.rail = RAIL_M12V;
  auto* row = limits.add_regulation();
  row->set_rail(RAIL_M12V);
  row->set_least_uv(-10800000);
  row->set_most_uv(-13200000);
  EXPECT_EQ(limit_for(limits, minus)->low.value, -13200000);
  EXPECT_EQ(limit_for(limits, minus)->high.value, -10800000);
}

}  // namespace
}  // namespace host::judge
