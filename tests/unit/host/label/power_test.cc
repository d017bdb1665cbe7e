// SPDX-License-Identifier: Apache-2.0
#include "host/label/power.h"

#include <cmath>
#include <random>

#include "tests/unit/host/label/label_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

RailWatts watts_of(double twelve, double five, double three) {
  RailWatts watts{};
  watts[proto::RAIL_P12V] = twelve;
  watts[proto::RAIL_P5V] = five;
  watts[proto::RAIL_P3V3] = three;
  return watts;
}

proto::Unit with_limits(std::string_view text) {
  proto::Unit unit;
  EXPECT_TRUE(google::protobuf::TextFormat::ParseFromString(std::string(text), &unit));
  return unit;
}

TEST(MostTogetherTest, AddsUpWithoutLimits) {
  EXPECT_DOUBLE_EQ(most_together(watts_of(648, 100, 66), {}), 814);
}

// By hand: 100 + 66 held to 120, then 648 + 120 held to 700.
TEST(MostTogetherTest, KeepsNestedLimitsInAnyOrder) {
  const proto::Unit unit = with_limits(
      "combined { rails: [RAIL_P12V, RAIL_P5V, RAIL_P3V3] watts: 700 } combined { rails: [RAIL_P5V, RAIL_P3V3] watts: "
      "120 }");
  EXPECT_DOUBLE_EQ(most_together(watts_of(648, 100, 66), unit.combined()), 700);
  EXPECT_DOUBLE_EQ(most_together(watts_of(500, 100, 66), unit.combined()), 620);
  EXPECT_DOUBLE_EQ(most_together(watts_of(0, 100, 66), unit.combined()), 120);
}

TEST(MostTogetherTest, TakesTheSmallerOfTwoLimitsOnTheSameRails) {
  const proto::Unit unit = with_limits(
      "combined { rails: [RAIL_P5V, RAIL_P3V3] watts: 120 } combined { rails: [RAIL_P3V3, RAIL_P5V] watts: 110 }");
  EXPECT_DOUBLE_EQ(most_together(watts_of(648, 100, 66), unit.combined()), 758);
}

TEST(MostTogetherTest, NamesALimitThatCrossesAnotherAndStaysAnUpperBound) {
  const proto::Unit unit = with_limits(
      "combined { rails: [RAIL_P12V, RAIL_P5V] watts: 650 } combined { rails: [RAIL_P5V, RAIL_P3V3] watts: 120 }");
  std::vector<int> crossing;
  // With both limits the most is 650 + 66 = 716 (+3.3 V full, +5 V at most 54, +12 V the rest); without the second,
  // 716.
  EXPECT_DOUBLE_EQ(most_together(watts_of(648, 100, 66), unit.combined(), &crossing), 716);
  EXPECT_EQ(crossing, std::vector<int>{1});
}

// The most by trying every share of whole watts: with nested limits a maximum lies on whole watts.
int most_by_trying(const RailWatts& watts, const proto::Unit& unit) {
  int best = 0;
  for (int twelve = 0; twelve <= watts[proto::RAIL_P12V]; ++twelve) {
    for (int five = 0; five <= watts[proto::RAIL_P5V]; ++five) {
      for (int three = 0; three <= watts[proto::RAIL_P3V3]; ++three) {
        const bool kept = std::ranges::all_of(unit.combined(), [&](const proto::CombinedLimit& limit) {
          int sum = 0;
          for (const int rail : limit.rails()) {
            sum += rail == proto::RAIL_P12V ? twelve : rail == proto::RAIL_P5V ? five : three;
          }
          return sum <= limit.watts();
        });
        if (kept) best = std::max(best, twelve + five + three);
      }
    }
  }
  return best;
}

TEST(MostTogetherTest, AgreesWithTryingEveryShare) {
  constexpr proto::Rail kThree[] = {proto::RAIL_P12V, proto::RAIL_P5V, proto::RAIL_P3V3};
  int crossed = 0;
  for (unsigned seed = 1; seed <= 500; ++seed) {
    std::mt19937 random(seed);
    const RailWatts watts = watts_of(random() % 9, random() % 9, random() % 9);
    proto::Unit unit;
    for (unsigned limits = random() % 4; limits > 0; --limits) {
      proto::CombinedLimit& limit = *unit.add_combined();
      const unsigned left_out = random() % 4;  // 3: none
      for (unsigned at = 0; at < 3; ++at) {
        if (at != left_out) limit.add_rails(kThree[at]);
      }
      limit.set_watts(1 + random() % 20);
    }
    std::vector<int> crossing;
    const double found = most_together(watts, unit.combined(), &crossing);
    crossed += crossing.empty() ? 0 : 1;
    if (crossing.empty()) {
      EXPECT_EQ(found, most_by_trying(watts, unit)) << "seed " << seed;
    } else {
      EXPECT_GE(found, most_by_trying(watts, unit)) << "seed " << seed;
    }
  }
  EXPECT_GT(crossed, 50);
  EXPECT_LT(crossed, 450);
}

// Worked example of the label audit: 650 W, +12 V 54 A, +5 V 20 A, +3.3 V 20 A, together 120 W, +5VSB 3 A, -12 V 0.3 A.
// Reference figures computed apart from this program by a Python script: share 0.996923077, all at full amps 832.6 W,
// within the limit 786.6 W, excess 136.6 W, +12 V keeps 511.4 W or 42.616666667 A.
TEST(LabelArithmeticTest, AgreesWithTheWorkedExample) {
  const proto::LabelAudit audit = audit_of(R"(
    id: "G" total_w: 650
    rails { rail: RAIL_P12V amps: 54 } rails { rail: RAIL_P5V amps: 20 } rails { rail: RAIL_P3V3 amps: 20 }
    rails { rail: RAIL_M12V amps: 0.3 } rails { rail: RAIL_P5VSB amps: 3 }
    combined { rails: [RAIL_P5V, RAIL_P3V3] watts: 120 })");
  EXPECT_DOUBLE_EQ(audit.rails(0).watts(), 648);
  EXPECT_NEAR(audit.share_12v_percent(), 99.6923077, 1e-7);
  EXPECT_NEAR(audit.sum_full_amps_w(), 832.6, 1e-9);
  EXPECT_NEAR(audit.sum_within_combined_w(), 786.6, 1e-9);
  EXPECT_NEAR(audit.excess_over_total_w(), 136.6, 1e-9);
  EXPECT_NEAR(audit.left_12v_w(), 511.4, 1e-9);
  EXPECT_NEAR(audit.left_12v_a(), 42.616666667, 1e-9);
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_PLAUSIBLE);
}

TEST(LeftFor12vTest, IsHeldByACombinedLimitThatNames12V) {
  // By hand: 120 W go to +5 and +3.3 V, 600 - 120 = 480 W; the total would leave 750 - 120 - 6 - 15 = 609 W.
  const proto::Unit unit =
      unit_of(std::string(kSound) + "combined { rails: [RAIL_P12V, RAIL_P5V, RAIL_P3V3] watts: 600 }");
  EXPECT_DOUBLE_EQ(left_for_12v(unit).value_or(NAN), 480);
}

TEST(LeftFor12vTest, IsHeldByItsOwnAmps) {
  const proto::Unit unit = unit_of(sound_but("amps: 60", "amps: 30"));
  EXPECT_DOUBLE_EQ(left_for_12v(unit).value_or(NAN), 360);
}

TEST(LeftFor12vTest, IsNeverBelowZero) {
  const proto::Unit unit = unit_of(sound_but("total_w: 750", "total_w: 100"));
  EXPECT_DOUBLE_EQ(left_for_12v(unit).value_or(NAN), 0);
}

TEST(NumberTest, CutsTrailingZeros) {
  EXPECT_EQ(number(282), "282");
  EXPECT_EQ(number(23.5), "23.5");
  EXPECT_EQ(number(0.25), "0.25");
  EXPECT_EQ(number(-0.001), "0");
  EXPECT_EQ(times_line(12, 23.5), "12 V x 23.5 A = 282 W");
}

}  // namespace
}  // namespace host::label
