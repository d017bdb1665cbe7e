// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/step_reporter.h"

#include <gtest/gtest.h>

#include <cmath>
#include <map>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::events_of;
using testing::JigFixture;
using testing::of_kind;
namespace proto = steadyrail::proto;

void trigger_on(proto::Configure& configure, std::initializer_list<std::uint32_t> channels) {
  for (const std::uint32_t channel : channels) {
    auto* trigger = configure.add_step_triggers();
    trigger->set_channel(channel);
    trigger->set_least_code(400);
  }
}

/// A load that goes up and down at the scans given; channel c follows with c times the size, plus a little noise.
testing::Signal load(const std::vector<std::uint64_t>& edges) {
  return [edges](std::uint64_t scan, std::size_t channel) {
    std::size_t passed = 0;
    for (const std::uint64_t edge : edges) passed += scan >= edge ? 1 : 0;
    testing::Random random(scan * 24 + channel);
    random.next();
    const auto level = static_cast<std::int32_t>(passed % 2 * 50 * channel);
    return static_cast<std::int16_t>(level - 300 * static_cast<std::int32_t>(channel) + random.between(-3, 3));
  };
}

/// Mean of 32 scans in 1/8 code, in doubles.
double mean_8(const testing::Signal& signal, std::uint64_t first, std::size_t channel) {
  double sum = 0;
  for (std::uint64_t scan = first; scan < first + 32; ++scan) sum += signal(scan, channel);
  return sum / 32 * 8;
}

void expect_means(const proto::SettledMeans& settled, const testing::Signal& signal) {
  ASSERT_EQ(settled.before_code_8_size(), 24);
  ASSERT_EQ(settled.after_code_8_size(), 24);
  for (int c = 0; c < 24; ++c) {
    const auto channel = static_cast<std::size_t>(c);
    EXPECT_NEAR(settled.before_code_8(c), mean_8(signal, settled.before_scan(), channel), 0.5);
    EXPECT_NEAR(settled.after_code_8(c), mean_8(signal, settled.after_scan(), channel), 0.5);
  }
}

TEST(StepReporterTest, PairsAStepWithMeansOfAllChannelsBeforeAndFourMillisecondsAfter) {
  JigFixture jig;
  jig.begin({}, [](auto& configure) { trigger_on(configure, {19}); });
  const auto signal = load({1000});
  jig.play(signal, 50);
  const auto frames = jig.heard();
  const auto steps = events_of(frames, proto::Event::kLoadStep);
  ASSERT_EQ(steps.size(), 1U);
  EXPECT_NEAR(static_cast<double>(steps[0].load_step().scan()), 998, 2);  // the plateau lies within the gap of 4
  EXPECT_NEAR(steps[0].load_step().step_code_16() / 16.0, 950, 3);
  EXPECT_FALSE(steps[0].load_step().from_gate());
  const auto means = events_of(frames, proto::Event::kSettled);
  ASSERT_EQ(means.size(), 1U);
  const proto::SettledMeans& settled = means[0].settled();
  EXPECT_EQ(settled.step_id(), steps[0].load_step().step_id());
  EXPECT_EQ(settled.before_scan(), steps[0].load_step().scan() - 4 - 32);
  EXPECT_EQ(settled.after_scan(), steps[0].load_step().scan() + 128);
  expect_means(settled, signal);
}

TEST(StepReporterTest, FindsTheSameStepsWhereverBlocksBegin) {
  for (std::uint64_t delay = 0; delay < 32; ++delay) {
    JigFixture jig;
    jig.begin({}, [](auto& configure) { trigger_on(configure, {19}); });
    const auto signal = load({500 + delay, 900 + delay});
    jig.play(signal, 50);
    const auto frames = jig.heard();
    EXPECT_EQ(events_of(frames, proto::Event::kLoadStep).size(), 2U);
    const auto means = events_of(frames, proto::Event::kSettled);
    ASSERT_EQ(means.size(), 2U) << delay;
    for (const auto& event : means) expect_means(event.settled(), signal);
  }
}

TEST(StepReporterTest, TakesTheLastMillisecondBeforeTheNextStepWhenThatComesSoon) {
  JigFixture jig;
  jig.begin({}, [](auto& configure) { trigger_on(configure, {19}); });
  const auto signal = load({1000, 1100});
  jig.play(signal, 60);
  const auto frames = jig.heard();
  const auto steps = events_of(frames, proto::Event::kLoadStep);
  const auto means = events_of(frames, proto::Event::kSettled);
  ASSERT_EQ(steps.size(), 2U);
  ASSERT_EQ(means.size(), 2U);
  EXPECT_EQ(means[0].settled().after_scan(), steps[1].load_step().scan() - 4 - 32);
  EXPECT_EQ(means[1].settled().before_scan(), means[0].settled().after_scan());
  EXPECT_EQ(means[1].settled().after_scan(), steps[1].load_step().scan() + 128);
  for (const auto& event : means) expect_means(event.settled(), signal);
}

TEST(StepReporterTest, TellsNoMeansWhenStepsLeaveNothingSettled) {
  JigFixture jig;
  jig.begin({}, [](auto& configure) { trigger_on(configure, {19}); });
  jig.play(load({1000, 1050, 1100}), 60);
  const auto frames = jig.heard();
  EXPECT_EQ(events_of(frames, proto::Event::kLoadStep).size(), 3U);
  // Nothing between 1000 and 1100 is settled: no pair has both sides.
  EXPECT_TRUE(events_of(frames, proto::Event::kSettled).empty());
}

TEST(StepReporterTest, TakesStepsOfSeveralChannelsAtOnceForOne) {
  JigFixture jig;
  jig.begin({}, [](auto& configure) { trigger_on(configure, {19, 20, 21}); });
  jig.play(load({1000, 2000}), 80);
  const auto frames = jig.heard();
  std::map<std::uint32_t, int> steps_of;
  for (const auto& event : events_of(frames, proto::Event::kLoadStep)) ++steps_of[event.load_step().step_id()];
  EXPECT_EQ(steps_of, (std::map<std::uint32_t, int>{{1, 3}, {2, 3}}));
  EXPECT_EQ(events_of(frames, proto::Event::kSettled).size(), 2U);
}

TEST(StepReporterTest, DoesNotBridgeAGap) {
  JigFixture jig;
  jig.begin({}, [](auto& configure) { trigger_on(configure, {19}); });
  const auto signal = load({96});
  jig.play(signal, 3);
  jig.lose(11);
  jig.play(signal, 40);  // at the new level from its first scan
  const auto frames = jig.heard();
  EXPECT_TRUE(events_of(frames, proto::Event::kLoadStep).empty());
  EXPECT_TRUE(events_of(frames, proto::Event::kSettled).empty());
}

TEST(StepReporterTest, CapturesTheBiggestStepAndAFewOrdinaryOnes) {
  JigFixture jig;
  jig.begin({}, [](auto& configure) {
    trigger_on(configure, {19});
    configure.set_capture_before_scans(64);
    configure.set_capture_after_scans(128);
  });
  // A step every 16 ms for 8 s; one, after 5 s, is twice as big.
  constexpr std::uint64_t kBig = 319;
  jig.play(
      [](std::uint64_t scan, std::size_t channel) {
        const bool up = scan / 512 % 2 == 1;
        const std::int32_t size = scan / 512 == kBig ? 4000 : 2000;
        return static_cast<std::int16_t>(channel == 19 && up ? size : 0);
      },
      8000);
  std::map<std::uint32_t, std::uint64_t> triggers;
  for (const auto& message : of_kind(jig.heard(), proto::JigToHost::kCapture)) {
    EXPECT_EQ(message.capture().cause(), proto::CAPTURE_CAUSE_LOAD_STEP);
    triggers[message.capture().capture()] = message.capture().trigger_scan();
  }
  // About three a second: the mean pause is 1/3 s.
  EXPECT_GE(triggers.size(), 12U);
  EXPECT_LE(triggers.size(), 40U);
  const bool has_big = std::any_of(triggers.begin(), triggers.end(), [](const auto& entry) {
    return entry.second > kBig * 512 - 8 && entry.second < kBig * 512 + 8;
  });
  EXPECT_TRUE(has_big);
}

}  // namespace
}  // namespace firmware
