// SPDX-License-Identifier: Apache-2.0
// Which conclusion follows from which findings. The rules are common practice, no source: none of them is a measured
// figure, and each is told to the reader with what it rests on.
#include "host/diagnose/conclusion.h"

#include <string>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <google/protobuf/text_format.h>
#include <gtest/gtest.h>

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;
using testing::Contains;
using testing::HasSubstr;

constexpr const char* kSound = R"(
edition: "atx-3.0"
session { duration_s: 600 }
coverage { scans_expected: 1000 scans_seen: 1000 }
verdicts { channel: "main-12v" rail: "+12V" quantity: QUANTITY_DYNAMIC value: 11.8 limit: 11.2 unit: "V" side: "low"
           decision: DECISION_PASS guard_zone: GUARD_ZONE_PASS }
verdicts { channel: "graphics-1" rail: "+12V" quantity: QUANTITY_DYNAMIC value: 11.7 limit: 11.2 unit: "V" side: "low"
           decision: DECISION_PASS guard_zone: GUARD_ZONE_PASS }
)";

proto::SessionResult concluded(const std::string& more, const std::string& sound = kSound,
                               const Surroundings& surroundings = {.mains_watched = true,
                                                                   .currents_everywhere = true}) {
  proto::SessionResult result;
  EXPECT_TRUE(google::protobuf::TextFormat::ParseFromString(sound + more, &result));
  conclude(result, surroundings);
  return result;
}

std::string failing(const std::string& channel) {
  return "verdicts { channel: \"" + channel + R"(" rail: "+12V" quantity: QUANTITY_STATIC value: 11.0 limit: 11.2
         unit: "V" side: "low" decision: DECISION_FAIL guard_zone: GUARD_ZONE_FAIL source: "a table" time_s: 5 })";
}

constexpr const char* kContact = R"(contact_resistances { channel: "graphics-1" flagged: true excess: 0.035
                                    excess_low: 0.034 excess_high: 0.036 heat_w: 21.9 heat_a: 25 })";

TEST(ConclusionTest, AnEarlyMinimumIsRemarkedAndDecidesNothing) {
  const auto step = [](double to_minimum_s, int measured) {
    return fmt::format(
        "steps {{ channel: 'graphics-1' rising: true step_a_median: 14 measured: {} "
        "time_to_minimum_s_median: {} }}",
        measured, to_minimum_s);
  };
  const auto early = concluded(step(125e-6, 158));
  EXPECT_EQ(early.conclusion(), proto::CONCLUSION_NOT_SHOWN);
  EXPECT_THAT(early.diagnosis().rests_on(), Contains(HasSubstr("early minimum at graphics-1")));
  for (const auto& other : {concluded(step(250e-6, 158)), concluded(step(125e-6, 29))}) {
    EXPECT_THAT(other.diagnosis().rests_on(), testing::Not(Contains(HasSubstr("early minimum"))));
  }
}

TEST(ConclusionTest, NothingFoundIsNotShownOnlyWithItsExposure) {
  EXPECT_EQ(concluded("").conclusion(), proto::CONCLUSION_NOT_SHOWN);
  const auto lacking = concluded(R"(verdicts { channel: "main-5v" rail: "+5V" quantity: QUANTITY_STATIC value: 5
                                    limit: 4.75 decision: DECISION_UNDECIDED guard_zone: GUARD_ZONE_PASS })");
  EXPECT_EQ(lacking.conclusion(), proto::CONCLUSION_NOT_TESTED);
  EXPECT_EQ(concluded("", "coverage { scans_expected: 10 }").conclusion(), proto::CONCLUSION_NOT_TESTED);
}

TEST(ConclusionTest, AFailingRailIsTheSupply) {
  const auto result = concluded(failing("main-12v") + failing("graphics-1"));
  EXPECT_EQ(result.conclusion(), proto::CONCLUSION_SUPPLY_FAULTY);
  EXPECT_THAT(result.diagnosis().rests_on(), Contains(HasSubstr("main-12v: 11.000 V against at least 11.200 V")));
  EXPECT_FALSE(result.diagnosis().has_runner_up());
}

TEST(ConclusionTest, AContactExplainsItsOwnConnectorAlone) {
  const auto one = concluded(failing("graphics-1") + kContact);
  EXPECT_EQ(one.conclusion(), proto::CONCLUSION_WIRING);
  EXPECT_THAT(one.diagnosis().rests_on(), Contains(HasSubstr("35.0 mohm more")));
  EXPECT_THAT(one.diagnosis().rests_on(), Contains(HasSubstr("22 W in it at 25 A")));
  // Where another connector of the rail fails too, the contact does not acquit the supply.
  const auto both = concluded(failing("graphics-1") + failing("main-12v") + kContact);
  EXPECT_EQ(both.conclusion(), proto::CONCLUSION_SUPPLY_FAULTY);
  EXPECT_EQ(both.diagnosis().runner_up(), proto::CONCLUSION_WIRING);
}

// A return that drops more than its wires explain is wiring; one that does not, or that nothing is expected of, is not.
TEST(ConclusionTest, AReturnThatIsTooHighIsWiring) {
  const auto drop = [](const std::string& more) {
    return "return_drops { channel: \"ground-graphics\" connectors: [\"graphics-1\", \"graphics-2\"] slope: 3.9e-3 "
           "slope_low: 3.8e-3 slope_high: 4.0e-3 " +
           more + " }";
  };
  const std::string flagged = drop("expected: 3.4e-3 expected_most: 3.7e-3 flagged: true");
  const auto high = concluded(flagged);
  EXPECT_EQ(high.conclusion(), proto::CONCLUSION_WIRING);
  EXPECT_THAT(high.diagnosis().rests_on(), Contains(HasSubstr("the returns of graphics-1, graphics-2 together")));
  EXPECT_THAT(high.diagnosis().rests_on(), Contains(HasSubstr("3.40, 3.70 at most")));
  EXPECT_THAT(high.diagnosis().plain_words(), HasSubstr("one of several plugs"));
  EXPECT_THAT(high.diagnosis().does_not_exclude(), Contains(HasSubstr("counts more black wires than there are")));
  EXPECT_THAT(concluded(flagged + kContact).diagnosis().plain_words(), HasSubstr("One plug or cable"));
  EXPECT_EQ(concluded(drop("expected: 3.4e-3 expected_most: 4.1e-3")).conclusion(), proto::CONCLUSION_NOT_SHOWN);
  EXPECT_EQ(concluded(drop("")).conclusion(), proto::CONCLUSION_NOT_SHOWN);
  EXPECT_EQ(concluded(failing("graphics-1") + flagged).conclusion(), proto::CONCLUSION_WIRING);
  EXPECT_EQ(concluded(failing("graphics-1") + failing("main-12v") + flagged).conclusion(),
            proto::CONCLUSION_SUPPLY_FAULTY);
}

TEST(ConclusionTest, AnIntermittentContactIsWiringButOneStepAloneIsNot) {
  const std::string step = R"(events { kind: EVENT_KIND_CONTACT_STEP channel: "graphics-2" start_s: 3
                              resistance_step_ohm: 0.03 })";
  const auto twice = concluded(step + step);
  EXPECT_EQ(twice.conclusion(), proto::CONCLUSION_WIRING);
  EXPECT_THAT(twice.diagnosis().rests_on(), Contains(HasSubstr("stepped 2 times")));
  const auto once = concluded(step);
  EXPECT_EQ(once.conclusion(), proto::CONCLUSION_NOT_SHOWN);
  EXPECT_THAT(once.diagnosis().rests_on(), Contains(HasSubstr("one step alone decides nothing")));
}

std::string shutdown(const std::string& first, double load_share, double load_share_most) {
  return "events { kind: EVENT_KIND_SHUTDOWN channel: \"pwr-ok\" start_s: 7 first: \"" + first +
         "\" note: \"told in order\" load_share: " + std::to_string(load_share) +
         " load_share_most: " + std::to_string(load_share_most) + " }";
}

TEST(ConclusionTest, AShutdownIsReadByWhatWentFirst) {
  struct Case {
    const char* first;
    double load_share;
    proto::Signature signature;
    proto::Conclusion conclusion;
  };
  for (const Case& one : {
           Case{"mains", 0.9, proto::SIGNATURE_MAINS_LOSS, proto::CONCLUSION_MAINS},
           Case{"+5VSB", 0.9, proto::SIGNATURE_STANDBY_LOSS, proto::CONCLUSION_SUPPLY_FAULTY},
           Case{"PS_ON#", 0.9, proto::SIGNATURE_COMMANDED_OFF, proto::CONCLUSION_NOT_SHOWN},
           Case{"+12V too high", 0.9, proto::SIGNATURE_OVER_VOLTAGE, proto::CONCLUSION_SUPPLY_FAULTY},
           Case{"PWR_OK", 1.05, proto::SIGNATURE_OVERLOAD, proto::CONCLUSION_SUPPLY_TOO_SMALL},
           Case{"PWR_OK", 0.9, proto::SIGNATURE_SUPPLY_INTERNAL, proto::CONCLUSION_SUPPLY_FAULTY},
           Case{"+12V", 1.05, proto::SIGNATURE_OVERLOAD, proto::CONCLUSION_SUPPLY_TOO_SMALL},
           Case{"+12V", 0.9, proto::SIGNATURE_UNDER_VOLTAGE, proto::CONCLUSION_SUPPLY_FAULTY},
       }) {
    const auto result = concluded(shutdown(one.first, one.load_share, one.load_share));
    ASSERT_EQ(result.diagnosis().shutdowns_size(), 1) << one.first;
    EXPECT_EQ(result.diagnosis().shutdowns(0).signature(), one.signature) << one.first;
    EXPECT_EQ(result.conclusion(), one.conclusion) << one.first << " " << one.load_share;
  }
}

TEST(ConclusionTest, AFallAtTheLabelAccusesNeither) {
  EXPECT_EQ(concluded(shutdown("+12V", 0.9, 1.2)).conclusion(), proto::CONCLUSION_NOT_SHOWN);
}

TEST(ConclusionTest, WithoutAnAcChannelMainsAndSupplyAreNotToldApart) {
  const auto result =
      concluded(shutdown("PWR_OK", 0.9, 0.9), kSound, {.mains_watched = false, .currents_everywhere = true});
  EXPECT_EQ(result.diagnosis().shutdowns(0).signature(), proto::SIGNATURE_MAINS_OR_SUPPLY);
  EXPECT_EQ(result.conclusion(), proto::CONCLUSION_NOT_SHOWN);
  EXPECT_THAT(result.diagnosis().does_not_exclude(), Contains(HasSubstr("AC-present")));
}

TEST(ConclusionTest, AFallAfterAMainsLossSpeaksForTheMains) {
  const auto result =
      concluded("events { kind: EVENT_KIND_MAINS_LOSS channel: \"ac-present\" start_s: 4.9 duration_s: 2 }" +
                failing("main-12v"));
  EXPECT_EQ(result.conclusion(), proto::CONCLUSION_MAINS);
}

TEST(ConclusionTest, ExcursionsAboveTheLabelAreNoFaultOfTheSupply) {
  const auto result = concluded(R"(events { kind: EVENT_KIND_EXCURSION channel: "main-12v" start_s: 3 extreme_v: 10.9
                                   depth_v: 0.3 within_rating: WITHIN_RATING_NO })");
  EXPECT_EQ(result.conclusion(), proto::CONCLUSION_SUPPLY_TOO_SMALL);
}

TEST(ConclusionTest, EveryConclusionSaysWhatToDoNext) {
  for (const std::string& more : {std::string(), failing("main-12v"), failing("graphics-1") + kContact,
                                  shutdown("mains", 0.9, 0.9), shutdown("PWR_OK", 1.05, 1.05)}) {
    const auto result = concluded(more);
    EXPECT_FALSE(result.diagnosis().rests_on().empty());
    EXPECT_FALSE(result.diagnosis().does_not_exclude().empty());
    EXPECT_FALSE(result.diagnosis().would_change_it().empty());
    EXPECT_FALSE(result.diagnosis().next_steps().empty());
    EXPECT_FALSE(result.diagnosis().plain_words().empty());
  }
}

}  // namespace
}  // namespace host::diagnose
