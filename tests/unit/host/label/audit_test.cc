// SPDX-License-Identifier: Apache-2.0
// The thresholds are rules of thumb: common practice, no source. The figures beside them are by hand.
#include "host/label/audit.h"

#include "host/data/shipped.h"
#include "tests/unit/host/label/label_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

proto::LabelVerdict verdict_of(std::string_view text) {
  return audit_of(text).verdict();
}

std::string with_12v(std::string_view amps) {
  return sound_but("RAIL_P12V amps: 60", "RAIL_P12V amps: " + std::string(amps));
}

TEST(LabelAuditTest, SoundLabelIsPlausibleWithoutRemarks) {
  const proto::LabelAudit audit = audit_of(kSound);
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_PLAUSIBLE);
  EXPECT_EQ(audit.remarks_size(), 0) << audit.ShortDebugString();
  EXPECT_EQ(audit.caution(), "a label is a claim, not a measurement");
}

// 46.88 A = 562.56 W = 75.008 %; 46.87 A = 74.992 %; 37.5 A = 60.000 %; 37.49 A = 59.984 %.
TEST(LabelAuditTest, ShareOf12vIsAskedAboutBelow75PercentAndWarnedBelow60) {
  EXPECT_FALSE(remarks_on(audit_of(with_12v("46.88")), proto::LABEL_CHECK_SHARE_12V_ASK));
  EXPECT_TRUE(remarks_on(audit_of(with_12v("46.87")), proto::LABEL_CHECK_SHARE_12V_ASK));
  const proto::LabelAudit at_60 = audit_of(with_12v("37.5"));
  EXPECT_TRUE(remarks_on(at_60, proto::LABEL_CHECK_SHARE_12V_ASK));
  EXPECT_FALSE(remarks_on(at_60, proto::LABEL_CHECK_SHARE_12V_WARN));
  const proto::LabelAudit below = audit_of(with_12v("37.49"));
  EXPECT_FALSE(remarks_on(below, proto::LABEL_CHECK_SHARE_12V_ASK));
  EXPECT_TRUE(remarks_on(below, proto::LABEL_CHECK_SHARE_12V_WARN));
}

TEST(LabelAuditTest, ShareRemarkPrintsRuleNumberStatusAndArithmetic) {
  const proto::LabelAudit audit = audit_of(with_12v("40"));
  const proto::LabelRemark* remark = find_remark(audit, proto::LABEL_CHECK_SHARE_12V_ASK);
  ASSERT_NE(remark, nullptr);
  EXPECT_EQ(remark->rule(), 1U);
  EXPECT_EQ(remark->status(), "common practice, no source");
  EXPECT_EQ(remark->arithmetic(), "+12V share: 480 W / 750 W = 64.0 %, below 75 %");
}

// The typed example: 282 + 165 + 102.3 + 11.5 = 560.8 W of 570 W, 1.6 % below; +12 V 282 / 570 = 49.5 %.
TEST(LabelAuditTest, TotalMadeOfEveryOutputAtFullAmpsNeedsExplaining) {
  const proto::LabelAudit audit = audit_of(R"(
    id: "U-2" total_w: 570 rails { rail: RAIL_P12V amps: 23.5 } rails { rail: RAIL_P5V amps: 33 }
    rails { rail: RAIL_P3V3 amps: 31 } rails { rail: RAIL_P5VSB amps: 2.3 })");
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_NEEDS_EXPLAINING);
  EXPECT_NEAR(audit.sum_full_amps_w(), 560.8, 1e-9);
  EXPECT_TRUE(remarks_on(audit, proto::LABEL_CHECK_SHARE_12V_WARN));
  EXPECT_TRUE(remarks_on(audit, proto::LABEL_CHECK_UNUSABLE_OUTPUTS));
  EXPECT_FALSE(remarks_on(audit, proto::LABEL_CHECK_SUM_BELOW_TOTAL));
}

// Of 600 W: 12 x 35 = 420 W (70 %), all outputs 420 + 187 = 607 W, 1.2 % above; 12 x 36 = 432 W (72 %), 619 W, 3.2 %.
TEST(LabelAuditTest, LowShareAloneDoesNotMakeTheTotalUnusableOutputs) {
  const auto of_600 = [](std::string_view amps) {
    std::string text = with_12v(amps);
    return audit_of(text.replace(text.find("total_w: 750"), 12, "total_w: 600"));
  };
  EXPECT_TRUE(remarks_on(of_600("35"), proto::LABEL_CHECK_UNUSABLE_OUTPUTS));
  EXPECT_FALSE(remarks_on(of_600("36"), proto::LABEL_CHECK_UNUSABLE_OUTPUTS));
  EXPECT_TRUE(remarks_on(of_600("36"), proto::LABEL_CHECK_SUM_MARGIN));
}

// 12 x 49 = 588, 12 x 60 = 720; the rest without the combined limit is 187 W. 588 + 187 = 775 W is 3.3 % above 750.
TEST(LabelAuditTest, SumLittleAboveTheTotalWithAHighShareIsOnlyNoted) {
  const proto::LabelAudit audit = audit_of(with_12v("49"));
  EXPECT_TRUE(remarks_on(audit, proto::LABEL_CHECK_SUM_MARGIN));
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_PLAUSIBLE);
  EXPECT_FALSE(remarks_on(audit_of(kSound), proto::LABEL_CHECK_SUM_MARGIN));
}

// 1 % of 750 W is 7.5 W: 63.1 A = 757.2 W rounds, 63.2 A = 758.4 W contradicts.
TEST(LabelAuditTest, RailAboveTheTotalContradictsBeyondRounding) {
  EXPECT_EQ(verdict_of(with_12v("63.1")), proto::LABEL_VERDICT_PLAUSIBLE);
  const proto::LabelAudit audit = audit_of(with_12v("63.2"));
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_CONTRADICTS_ITSELF);
  const proto::LabelRemark* remark = find_remark(audit, proto::LABEL_CHECK_RAIL_ABOVE_TOTAL);
  ASSERT_NE(remark, nullptr);
  EXPECT_EQ(remark->arithmetic(), "+12V: 12 V x 63.2 A = 758.4 W, above the total 750 W by 8.4 W");
  EXPECT_TRUE(std::ranges::any_of(audit.arithmetic(), &proto::ArithmeticLine::contradicts));
}

// 12 x 48.7 + 120 + 6 + 15 = 725.4 W, 3.28 % below 750; 12 x 49 + 141 = 729 W, 2.8 % below.
TEST(LabelAuditTest, OutputsThatCannotReachTheTotalContradict) {
  EXPECT_EQ(verdict_of(with_12v("48.7")), proto::LABEL_VERDICT_CONTRADICTS_ITSELF);
  EXPECT_FALSE(remarks_on(audit_of(with_12v("49")), proto::LABEL_CHECK_SUM_BELOW_TOTAL));
}

// Without -12 V and +5VSB on the label 12 W and 20 W are allowed for them: 564 + 120 + 32 = 716 < 727.5 <= 576 + 152.
TEST(LabelAuditTest, OutputsLeftOffTheLabelAreAllowedForBeforeItContradicts) {
  const auto label = [](std::string_view amps) {
    return "total_w: 750 rails { rail: RAIL_P12V amps: " + std::string(amps) +
           " } rails { rail: RAIL_P5V amps: 20 } rails { rail: RAIL_P3V3 amps: 20 }"
           " combined { rails: [RAIL_P5V, RAIL_P3V3] watts: 120 }";
  };
  EXPECT_TRUE(remarks_on(audit_of(label("47")), proto::LABEL_CHECK_SUM_BELOW_TOTAL));
  EXPECT_FALSE(remarks_on(audit_of(label("48")), proto::LABEL_CHECK_SUM_BELOW_TOTAL));
}

TEST(LabelAuditTest, SumIsNotJudgedWithoutFiveVolts) {
  const proto::LabelAudit audit = audit_of("total_w: 750 rails { rail: RAIL_P12V amps: 50 }");
  EXPECT_FALSE(remarks_on(audit, proto::LABEL_CHECK_SUM_BELOW_TOTAL));
  EXPECT_FALSE(remarks_on(audit, proto::LABEL_CHECK_SUM_MARGIN));
  EXPECT_TRUE(remarks_on(audit, proto::LABEL_CHECK_RAIL_MISSING));
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_NEEDS_EXPLAINING);
  EXPECT_TRUE(std::ranges::any_of(audit.gaps(), [](const std::string& gap) {
    return gap == "+5V amps not printed: the sum of all outputs was not held against the total";
  }));
}

TEST(LabelAuditTest, CombinedLimitIsHeldAgainstItsPartsAndTheTotal) {
  EXPECT_TRUE(remarks_on(audit_of(sound_but("watts: 120", "watts: 98")), proto::LABEL_CHECK_RAIL_ABOVE_COMBINED));
  EXPECT_FALSE(remarks_on(audit_of(sound_but("watts: 120", "watts: 100")), proto::LABEL_CHECK_RAIL_ABOVE_COMBINED));
  EXPECT_TRUE(remarks_on(audit_of(sound_but("watts: 120", "watts: 168")), proto::LABEL_CHECK_COMBINED_IDLE));
  const proto::LabelAudit above = audit_of(sound_but("watts: 120", "watts: 800"));
  EXPECT_TRUE(remarks_on(above, proto::LABEL_CHECK_COMBINED_ABOVE_TOTAL));
  EXPECT_EQ(above.verdict(), proto::LABEL_VERDICT_CONTRADICTS_ITSELF);
}

// 100 V x 7.9 A x 95 % = 750.5 W; x 7.8 A = 741 W. 240 V x 3.09 A = 741.6 VA, x 1.01 = 749 < 750.
TEST(LabelAuditTest, InputIsHeldAgainstTheTotal) {
  EXPECT_FALSE(remarks_on(audit_of(sound_but("amps: 10", "amps: 7.9")), proto::LABEL_CHECK_INPUT_TIGHT));
  EXPECT_TRUE(remarks_on(audit_of(sound_but("amps: 10", "amps: 7.8")), proto::LABEL_CHECK_INPUT_TIGHT));
  EXPECT_EQ(verdict_of(sound_but("amps: 10", "amps: 3.09")), proto::LABEL_VERDICT_CONTRADICTS_ITSELF);
  EXPECT_EQ(verdict_of(sound_but("amps: 10", "amps: 3.15")), proto::LABEL_VERDICT_NEEDS_EXPLAINING);
}

TEST(LabelAuditTest, StandbyIsUsualFrom2Point5AndMarginalBelow2) {
  const auto with_standby = [](std::string_view amps) {
    return audit_of(sound_but("RAIL_P5VSB amps: 3", "RAIL_P5VSB amps: " + std::string(amps)));
  };
  EXPECT_EQ(with_standby("2.5").remarks_size(), 0);
  EXPECT_TRUE(remarks_on(with_standby("2.4"), proto::LABEL_CHECK_STANDBY_BELOW_USUAL));
  EXPECT_TRUE(remarks_on(with_standby("2"), proto::LABEL_CHECK_STANDBY_BELOW_USUAL));
  EXPECT_TRUE(remarks_on(with_standby("1.9"), proto::LABEL_CHECK_STANDBY_MARGINAL));
  EXPECT_EQ(with_standby("1.9").verdict(), proto::LABEL_VERDICT_PLAUSIBLE);
}

TEST(LabelAuditTest, IndicatorsOfTheBuildDecideNothingAlone) {
  const proto::LabelAudit mark = audit_of(sound_but("MARK_PRESENT", "MARK_ABSENT"));
  const proto::LabelAudit mass = audit_of(sound_but("mass_kg: 1.9", "mass_kg: 1.1"));
  const proto::LabelAudit wire = audit_of(sound_but("wire_awg: 16", "wire_awg: 20"));
  EXPECT_TRUE(remarks_on(mark, proto::LABEL_CHECK_NO_EFFICIENCY_MARK));
  EXPECT_TRUE(remarks_on(mass, proto::LABEL_CHECK_LOW_MASS));
  EXPECT_TRUE(remarks_on(wire, proto::LABEL_CHECK_THIN_WIRE));
  for (const auto* each : {&mark, &mass, &wire}) EXPECT_EQ(each->verdict(), proto::LABEL_VERDICT_PLAUSIBLE);
  EXPECT_FALSE(
      remarks_on(audit_of(sound_but("MARK_PRESENT", "MARK_NOT_LOOKED")), proto::LABEL_CHECK_NO_EFFICIENCY_MARK));
}

TEST(LabelAuditTest, ConditionOfTheTotalIsJudged) {
  EXPECT_EQ(verdict_of(sound_but("BASIS_CONTINUOUS", "BASIS_PEAK")), proto::LABEL_VERDICT_NEEDS_EXPLAINING);
  EXPECT_TRUE(remarks_on(audit_of(sound_but("total_at_c: 40", "total_at_c: 25")), proto::LABEL_CHECK_RATED_COOL));
  EXPECT_EQ(verdict_of(sound_but("total_w: 750", "total_w: 750 peak_w: 700")), proto::LABEL_VERDICT_CONTRADICTS_ITSELF);
  EXPECT_EQ(verdict_of(sound_but("total_w: 750", "total_w: 750 peak_w: 800")), proto::LABEL_VERDICT_PLAUSIBLE);
}

TEST(LabelAuditTest, NeedBeyondWhat12vKeepsIsRemarkedButTheLabelStaysPlausible) {
  // 750 - 120 - 6 - 15 = 609 W = 50.75 A.
  EXPECT_FALSE(remarks_on(audit_of(kSound, {.need_12v_a = 50.7}), proto::LABEL_CHECK_NEED_NOT_COVERED));
  const proto::LabelAudit audit = audit_of(kSound, {.need_12v_a = 50.8});
  EXPECT_TRUE(remarks_on(audit, proto::LABEL_CHECK_NEED_NOT_COVERED));
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_PLAUSIBLE);
}

std::string with_sub_rails(std::string_view first, std::string_view second) {
  return sound_but("RAIL_P12V amps: 60",
                   "RAIL_P12V amps: 60 sub_rails { name: \"12V1\" connectors: [\"main\"] amps: " + std::string(first) +
                       " } sub_rails { name: \"12V2\" amps: " + std::string(second) +
                       " connectors: [\"processor-1\", \"graphics-1\"] }");
}

// By hand: rail 60 A, sub-rails 40 and 25 A, even share 30 A.
TEST(SubRailTest, HeadroomUnderUnbalancedLoad) {
  const proto::LabelAudit audit = audit_of(with_sub_rails("40", "25"));
  ASSERT_EQ(audit.sub_rails_size(), 2);
  const proto::SubRailHeadroom& first = audit.sub_rails(0);
  EXPECT_DOUBLE_EQ(first.alone_a(), 40);
  EXPECT_DOUBLE_EQ(first.out_of_reach_a(), 20);
  EXPECT_DOUBLE_EQ(first.even_share_a(), 30);
  EXPECT_DOUBLE_EQ(first.above_share_a(), 10);
  EXPECT_DOUBLE_EQ(first.others_full_a(), 35);
  const proto::SubRailHeadroom& second = audit.sub_rails(1);
  EXPECT_DOUBLE_EQ(second.above_share_a(), -5);
  EXPECT_DOUBLE_EQ(second.out_of_reach_a(), 35);
  EXPECT_DOUBLE_EQ(second.others_full_a(), 20);
  EXPECT_EQ(second.connectors_size(), 2);
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_PLAUSIBLE);
}

TEST(SubRailTest, FiguresThatDoNotFitTheRailAreNamed) {
  EXPECT_TRUE(remarks_on(audit_of(with_sub_rails("30", "29")), proto::LABEL_CHECK_SUB_RAILS_BELOW_RAIL));
  EXPECT_FALSE(remarks_on(audit_of(with_sub_rails("30", "30")), proto::LABEL_CHECK_SUB_RAILS_BELOW_RAIL));
  EXPECT_TRUE(remarks_on(audit_of(with_sub_rails("61", "30")), proto::LABEL_CHECK_SUB_RAIL_OUT_OF_REACH));
  const proto::LabelAudit audit = audit_of(with_sub_rails("64", "30"));
  EXPECT_TRUE(remarks_on(audit, proto::LABEL_CHECK_SUB_RAIL_ABOVE_TOTAL));
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_CONTRADICTS_ITSELF);
}

TEST(SubRailTest, OneSocketOnTwoSubRailsIsAskedAbout) {
  const std::string text = with_sub_rails("40", "25");
  EXPECT_FALSE(remarks_on(audit_of(text), proto::LABEL_CHECK_SOCKET_TWICE));
  std::string twice = text;
  twice.replace(twice.find("\"processor-1\""), 13, "\"main\"");
  EXPECT_TRUE(remarks_on(audit_of(twice), proto::LABEL_CHECK_SOCKET_TWICE));
}

// The invented units that ship: one sound, one stretched, one that contradicts itself.
TEST(ShippedUnitTest, ComeOutAsTheyAreMeant) {
  const auto shipped = [](std::string_view name) { return audit_of(data::shipped(name).value_or("")); };
  EXPECT_EQ(shipped("units/u-1.textproto").verdict(), proto::LABEL_VERDICT_PLAUSIBLE);
  const proto::LabelAudit stretched = shipped("units/u-2.textproto");
  EXPECT_EQ(stretched.verdict(), proto::LABEL_VERDICT_NEEDS_EXPLAINING);
  EXPECT_TRUE(remarks_on(stretched, proto::LABEL_CHECK_UNUSABLE_OUTPUTS));
  const proto::LabelAudit contradicts = shipped("units/u-3.textproto");
  EXPECT_EQ(contradicts.verdict(), proto::LABEL_VERDICT_CONTRADICTS_ITSELF);
  EXPECT_TRUE(remarks_on(contradicts, proto::LABEL_CHECK_RAIL_ABOVE_TOTAL));
  EXPECT_TRUE(remarks_on(contradicts, proto::LABEL_CHECK_RAIL_ABOVE_COMBINED));
}

}  // namespace
}  // namespace host::label
