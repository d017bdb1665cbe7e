// SPDX-License-Identifier: Apache-2.0
// Load steps, droops and sags through a whole review; figures follow by hand from the levels drawn.
#include <array>
#include <cmath>

#include <gtest/gtest.h>

#include "host/detect/review.h"
#include "host/judge/under_read.h"
#include "tests/unit/host/detect/rail_step_fixture.h"
#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

ReviewOptions options(std::optional<LimitSet> limits = std::nullopt) {
  return {.limits = std::move(limits), .unit = {}, .events_listed_max = 500};
}

Event load_step(std::uint64_t scan, double amps, std::uint32_t id) {
  Event event;
  auto* step = event.mutable_load_step();
  step->set_channel(kGraphicsA);
  step->set_scan(scan);
  step->set_step_code_16(static_cast<int>(std::lround(amps / 5e-3 * 16)));
  step->set_t50_offset_256(128 * 256 + 128);  // half a scan later
  step->set_step_id(id);
  return event;
}

Event settled(std::uint64_t before, std::uint64_t after, double v_before, double v_after, std::uint32_t id) {
  Event event;
  auto* means = event.mutable_settled();
  means->set_step_id(id);
  means->set_before_scan(before);
  means->set_after_scan(after);
  for (std::size_t i = 0; i < kChannels; ++i) {
    const bool graphics = i == kGraphics;
    means->add_before_code_8(graphics ? static_cast<int>(std::lround((v_before - 9.8) / 3e-4 * 8)) : 0);
    means->add_after_code_8(graphics ? static_cast<int>(std::lround((v_after - 9.8) / 3e-4 * 8)) : 0);
  }
  return event;
}

/// A step of 20 A at `at` that costs 0.2 V for good and 0.15 V more for 20 scans, held for `hold` scans.
void draw_step(Levels& levels, std::size_t at, std::size_t hold) {
  levels.set(kGraphicsA, at, at + hold, 25);
  levels.set(kGraphics, at, at + hold, 11.8);
  levels.set(kGraphics, at, at + 20, 11.65);
}

TEST(StepsTest, ChipStepAndSettledMeansGiveADroopFromWindows) {
  Levels levels(64000);
  draw_step(levels, 10000, 3000);
  Review review(options());
  review.header(test_header());
  review.event(load_step(10000, 20, 7));
  review.event(settled(9968, 10128, 12.0, 11.8, 7));
  levels.windows(review, 0, levels.scans());
  review.finish();
  const SessionResult result = review.result();
  const auto steps = events_of(result, EVENT_KIND_LOAD_STEP);
  ASSERT_EQ(steps.size(), 1U);
  EXPECT_NEAR(steps[0].step_a(), 20, 1e-3);
  EXPECT_NEAR(steps[0].start_s(), 10000.5 / 32000, 1e-9);
  EXPECT_EQ(steps[0].source(), FIGURE_SOURCE_CHIP);
  const auto droops = events_of(result, EVENT_KIND_DROOP);
  ASSERT_EQ(droops.size(), 1U);
  EXPECT_EQ(droops[0].channel(), "graphics-1");
  EXPECT_EQ(droops[0].source(), FIGURE_SOURCE_WINDOW);
  EXPECT_NEAR(droops[0].deviation_v(), 0.35, 1e-3);
  EXPECT_NEAR(droops[0].undershoot_v(), 0.15, 1e-3);
  EXPECT_NEAR(droops[0].settled_shift_v(), 0.20, 1e-3);
  EXPECT_FALSE(droops[0].has_recovery_s());
  ASSERT_EQ(result.steps_size(), 1);
  EXPECT_TRUE(result.steps(0).rising());
  EXPECT_EQ(result.steps(0).steps(), 1U);
  EXPECT_NEAR(result.steps(0).undershoot_v_median(), 0.15, 1e-3);
  EXPECT_FALSE(result.steps(0).has_recovery_s_median());
}

TEST(StepsTest, CaptureTellsTimesAndTakesThePlaceOfWindows) {
  Levels levels(64000);
  draw_step(levels, 10000, 3000);
  Review review(options());
  review.header(test_header());
  review.event(load_step(10000, 20, 7));
  review.event(settled(9968, 10128, 12.0, 11.8, 7));
  levels.windows(review, 0, 32000);
  levels.capture(review, 9680, 10640, 10000, CAPTURE_CAUSE_LOAD_STEP);
  levels.windows(review, 32000, 64000);
  review.finish();
  const SessionResult result = review.result();
  const auto droops = events_of(result, EVENT_KIND_DROOP);
  ASSERT_EQ(droops.size(), 1U);
  EXPECT_EQ(droops[0].source(), FIGURE_SOURCE_CAPTURE);
  EXPECT_NEAR(droops[0].deviation_v(), 0.35, 1e-3);
  EXPECT_NEAR(droops[0].undershoot_v(), 0.15, 1e-3);
  // The edge lies between scans 9999 and 10000; the count runs from the last scan before it.
  EXPECT_NEAR(droops[0].time_to_minimum_s(), 1 / 32000.0, 1e-9);
  EXPECT_NEAR(droops[0].recovery_s(), 21 / 32000.0, 1e-9);
  EXPECT_NEAR(droops[0].time_uncertainty_s(), 0.5 / 32000, 1e-12);
  // The minimum's own flank of 0.35 V from scan to scan bounds what the chain of the channel hides of its depth.
  const judge::UnderRead chain(std::array<double, 2>{14200, 14200}, 32000);
  EXPECT_NEAR(droops[0].bias_bound_v(), chain.bound_of_steepness(0.35), 1e-3);
  // 2 codes of noise, one of quantisation, 5 mV at 12 V as a scale error on 0.35 V: 0.6 sqrt(33/32), 0.087, 0.150 mV.
  EXPECT_NEAR(droops[0].deviation_uncertainty_v(), 2 * std::hypot(0.609e-3, 0.087e-3, 0.150e-3), 0.02e-3);
  // The edge lies between two scans: 80 % of 20 A in 0.8 of a scan, or faster.
  EXPECT_TRUE(droops[0].slew_at_least());
  EXPECT_NEAR(droops[0].slew_a_per_s(), 20 * 32000, 10);
  EXPECT_NEAR(events_of(result, EVENT_KIND_LOAD_STEP)[0].slew_a_per_s(), 20 * 32000, 10);
  const Drawings drawings = review.drawings();
  bool drawn = false;
  for (const auto& waveform : drawings.waveforms()) {
    if (waveform.event_id() != droops[0].event_id()) continue;
    drawn = true;
    EXPECT_EQ(waveform.source(), FIGURE_SOURCE_CAPTURE);
    EXPECT_EQ(waveform.low_size(), 960);
    EXPECT_NEAR(waveform.first_s(), 9680 / 32000.0, 1e-9);
    EXPECT_NEAR(waveform.low(320), 11.65, 1e-3);
    EXPECT_NEAR(waveform.low(319), 12.0, 1e-3);
  }
  EXPECT_TRUE(drawn);
}

TEST(StepsTest, CaptureOfARailStepFromNgspiceGivesTheSameFiguresThroughTheReview) {
  const RailTrace trace = run_ngspice(healthy());
  ASSERT_EQ(trace.tapa.size(), 641U);
  Levels levels(4000);
  for (std::size_t i = 0; i < 4000; ++i) {
    const std::size_t k = i < 1000 ? 0 : std::min<std::size_t>(i - 1000, 640);
    levels.of(kGraphics)[i] = trace.tapa[k];
    const double t = static_cast<double>(k);
    levels.of(kGraphicsA)[i] = t < 64    ? 5
                               : t < 67  ? 5 + 20 * (t - 64) / 3
                               : t < 384 ? 25
                               : t < 387 ? 25 - 20 * (t - 384) / 3
                                         : 5;
  }
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, 3200);
  levels.capture(review, 744, 1641, 1064, CAPTURE_CAUSE_LOAD_STEP);
  review.finish();
  const auto droops = events_of(review.result(), EVENT_KIND_DROOP);
  ASSERT_EQ(droops.size(), 2U);
  // NumPy on the trace: deviation 0.3494, shift 0.200, undershoot 0.1494 V, minimum 8 and recovery 26 scans after the
  // step; 0.3 mV a code and a step placed to one scan.
  EXPECT_NEAR(droops[0].deviation_v(), 0.3494, 3e-4);
  EXPECT_NEAR(droops[0].undershoot_v(), 0.1494, 3e-4);
  EXPECT_NEAR(droops[0].settled_shift_v(), 0.200, 3e-4);
  EXPECT_NEAR(droops[0].time_to_minimum_s() * 32000, 8, 1.01);
  EXPECT_NEAR(droops[0].recovery_s() * 32000, 26, 1.01);
  EXPECT_EQ(droops[1].side(), "high");
  EXPECT_LT(droops[1].step_a(), 0);
}

// 40 mV of undershoot stay inside the band of 60 mV: nothing to recover from, which is not a recovery in no time.
TEST(StepsTest, AStepInsideTheBandHasNoRecovery) {
  Levels levels(64000);
  levels.set(kGraphicsA, 10000, 13000, 25);
  levels.set(kGraphics, 10000, 10020, 11.96);
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, 32000);
  levels.capture(review, 9680, 10640, 10000, CAPTURE_CAUSE_LOAD_STEP);
  review.finish();
  const SessionResult result = review.result();
  ASSERT_EQ(result.steps_size(), 1);
  EXPECT_FALSE(result.steps(0).has_recovery_s_median());
  EXPECT_EQ(result.steps(0).stayed_in_band(), 1U);
  EXPECT_EQ(result.steps(0).recoveries(), 0U);
  EXPECT_NEAR(result.steps(0).deviation_v_median(), 0.04, 1e-3);
}

TEST(StepsTest, StepsWithoutRoomAreCountedButNotMeasured) {
  Levels levels(4000);
  for (std::size_t at : {1000U, 1050U, 1100U, 1150U}) levels.set(kGraphicsA, at, at + 25, 25);
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, 3200);
  levels.capture(review, 700, 1660, 1000, CAPTURE_CAUSE_LOAD_STEP);
  review.finish();
  // Only the last has two free milliseconds after it, and 25 scans before it: none can be measured.
  EXPECT_TRUE(events_of(review.result(), EVENT_KIND_DROOP).empty());
}

TEST(StepsTest, LostCaptureBlockIsNotBridged) {
  Levels levels(64000);
  draw_step(levels, 10000, 3000);
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, 32000);
  levels.capture(review, 9680, 9984, 10000, CAPTURE_CAUSE_LOAD_STEP, 3);
  levels.capture(review, 10016, 10640, 10000, CAPTURE_CAUSE_LOAD_STEP, 3);  // 32 scans with the step are missing
  review.finish();
  EXPECT_TRUE(events_of(review.result(), EVENT_KIND_DROOP).empty());
}

TEST(StepsTest, StrangeStepEventsAreLeftOut) {
  Review review(options());
  review.header(test_header());
  Event event = load_step(10, 5, 1);
  event.mutable_load_step()->set_channel(kMain);  // no current channel
  review.event(event);
  event.mutable_load_step()->set_channel(400);
  review.event(event);
  review.event(settled(100, 50, 12, 12, 99));
  review.finish();
  EXPECT_TRUE(review.result().events().empty());
}

// 30 A through 10 mohm are 0.3 V, 2.5 % of 12 V: more than the start threshold, but the load explains it and the
// corrected level does not move.
TEST(SagTest, DropTheLoadExplainsIsNoSag) {
  Levels levels(320000);
  for (std::size_t at = 3200; at + 6400 < levels.scans(); at += 6400) {
    levels.set(kGraphicsA, at, at + 3200, 35);
    levels.set(kGraphics, at, at + 3200, 11.7);
  }
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  EXPECT_TRUE(events_of(review.result(), EVENT_KIND_SAG).empty());
}

TEST(SagTest, DropWithoutLoadIsAnUnexplainedSag) {
  Levels levels(128000);
  levels.set(kGraphics, 64000, 64640, 11.64);
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  const SessionResult result = review.result();
  const auto sags = events_of(result, EVENT_KIND_SAG);
  ASSERT_EQ(sags.size(), 1U);
  EXPECT_FALSE(sags[0].explained());
  EXPECT_NEAR(sags[0].retained(), 11.69 / 12.05, 1e-3);  // corrected by 10 mohm x 5 A both times
  EXPECT_NEAR(sags[0].depth_v(), 0.36, 2e-3);
  EXPECT_NEAR(sags[0].extreme_v(), 11.64, 1e-3);
  EXPECT_NEAR(sags[0].duration_s(), 20e-3, sags[0].duration_uncertainty_s() + 1e-9);
  EXPECT_EQ(count_of(result, EVENT_KIND_SAG, "graphics-1").unexplained(), 1U);
  EXPECT_EQ(sags[0].decision(), DECISION_NOT_TESTED);
  EXPECT_TRUE(sags[0].load_corrected());
  EXPECT_NE(sags[0].note().find("depth and retained without the drop the load explains"), std::string::npos);
}

// A step of 40 A for half a millisecond: 0.40 V by resistance, taken away; 0.30 V of undershoot beyond it, within
// 1.3 x 10 mohm x 40 A = 0.52 V: a sag, explained.
TEST(SagTest, UndershootOfAStepIsExplained) {
  Levels levels(128000);
  levels.set(kGraphicsA, 64000, 64016, 45);
  levels.set(kGraphics, 64000, 64016, 11.30);
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  const auto sags = events_of(review.result(), EVENT_KIND_SAG);
  ASSERT_EQ(sags.size(), 1U);
  EXPECT_TRUE(sags[0].explained());
  EXPECT_EQ(count_of(review.result(), EVENT_KIND_SAG, "graphics-1").unexplained(), 0U);
}

// A plug without a current channel shares its rail with one whose load steps by 40 A: 1 mohm of them is taken away,
// 0.04 V, and what is left may reach 1.3 x 10 mohm x 40 A = 0.52 V. Without a step, or beyond that, nothing explains
// it.
TEST(SagTest, LoadOfAnotherPlugExplainsNoMoreThanItsShare) {
  struct Case {
    std::size_t step_at;
    double level;
    bool explained;
  };
  for (const Case& one : {Case{64000, 11.60, true}, Case{64000, 11.20, false}, Case{96000, 11.60, false}}) {
    SCOPED_TRACE(one.level);
    Levels levels(128000);
    levels.set(kGraphicsA, one.step_at, one.step_at + 16, 45);
    levels.set(kMain, 64000, 64016, one.level);
    Review review(options());
    review.header(test_header());
    levels.windows(review, 0, levels.scans());
    review.finish();
    const SessionResult result = review.result();
    int sags = 0;
    for (const EventResult& sag : events_of(result, EVENT_KIND_SAG)) {
      if (sag.channel() != "main-12v") continue;
      ++sags;
      EXPECT_EQ(sag.explained(), one.explained);
    }
    EXPECT_EQ(sags, 1);
    EXPECT_EQ(count_of(result, EVENT_KIND_SAG, "main-12v").unexplained(), one.explained ? 0U : 1U);
  }
}

TEST(SagTest, WithoutACurrentChannelNothingIsExplained) {
  Levels levels(128000);
  levels.set(kFive, 64000, 64640, 4.85);
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  const auto sags = events_of(review.result(), EVENT_KIND_SAG);
  ASSERT_EQ(sags.size(), 1U);
  EXPECT_FALSE(sags[0].has_explained());
  EXPECT_FALSE(sags[0].load_corrected());
  EXPECT_NE(sags[0].note().find("as read"), std::string::npos);
  EXPECT_NEAR(sags[0].retained(), 0.97, 1e-3);
}

// The capture of an excursion tells for an edition the jig was not armed with what the chip tells for its own.
TEST(ExcursionCaptureTest, SharpensWhatOnlyWindowsTold) {
  Levels levels(64000);
  levels.set(kMain, 10007, 10020, 11.30);
  Review review(options(test_limits()));
  review.header(test_header("another-edition"));
  levels.windows(review, 0, 32000);
  levels.capture(review, 9680, 10640, 10007, CAPTURE_CAUSE_EXCURSION);
  levels.windows(review, 32000, 64000);
  review.finish();
  const auto events = events_of(review.result(), EVENT_KIND_EXCURSION);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_EQ(events[0].source(), FIGURE_SOURCE_CAPTURE);
  EXPECT_DOUBLE_EQ(events[0].start_s(), 10007 / 32000.0);
  EXPECT_DOUBLE_EQ(events[0].duration_s(), 13 / 32000.0);
  EXPECT_NEAR(events[0].area_vs(), 0.1 * 13 / 32000, 1e-7);
  EXPECT_EQ(events[0].scans_beyond(), 13U);
  EXPECT_TRUE(events[0].has_bias_bound_v());
  const Drawings drawings = review.drawings();
  ASSERT_EQ(drawings.waveforms().size() > 0, true);
  EXPECT_EQ(drawings.waveforms(0).source(), FIGURE_SOURCE_CAPTURE);
}

TEST(ExcursionCaptureTest, WithoutACaptureItIsDrawnFromWindows) {
  Levels levels(64000);
  levels.set(kMain, 10007, 10020, 11.30);
  Review review(options(test_limits()));
  review.header(test_header());
  levels.windows(review, 0, 64000);
  review.finish();
  const Drawings drawings = review.drawings();
  ASSERT_EQ(drawings.waveforms_size(), 2);  // the excursion and the sag it is
  const Waveform& drawn = drawings.waveforms(0);
  EXPECT_EQ(drawn.source(), FIGURE_SOURCE_WINDOW);
  EXPECT_NEAR(drawn.step_s(), 1e-3, 1e-12);
  const auto place = static_cast<int>((10007 / 32000.0 - drawn.first_s()) / drawn.step_s());
  EXPECT_NEAR(drawn.low(place), 11.30, 1e-3);
  EXPECT_NEAR(drawn.high(place), 12.00, 1e-3);
  EXPECT_GT(drawn.low_size(), place + 10);
}

TEST(SagTest, SupplySwitchedOffIsNoSag) {
  Levels levels(128000);
  levels.set(kPwrOk, 64000, 128000, 0);
  levels.set(kGraphics, 64064, 128000, 0.2);
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  EXPECT_TRUE(events_of(review.result(), EVENT_KIND_SAG).empty());
}

TEST(SagTest, HoleTruncatesASag) {
  Levels levels(128000);
  levels.set(kGraphics, 64000, 96000, 11.5);
  Review review(options());
  review.header(test_header());
  levels.windows(review, 0, 70400);
  review.gap({.from_scan = 70400, .to_scan = 76800, .cause = LOSS_CAUSE_SEQUENCE_GAP});
  levels.windows(review, 76800, 128000);
  review.finish();
  const auto sags = events_of(review.result(), EVENT_KIND_SAG);
  ASSERT_EQ(sags.size(), 2U);
  EXPECT_TRUE(sags[0].truncated());
  EXPECT_GE(sags[1].start_s(), 76800 / 32000.0);
}

}  // namespace
}  // namespace host::detect
