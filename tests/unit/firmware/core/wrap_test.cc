// SPDX-License-Identifier: Apache-2.0
// Counters near their ends, a day of scans, and hosts that come, go and overlap.
#include <gtest/gtest.h>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

namespace proto = steadyrail::proto;
using testing::HeardFrame;
using testing::JigFixture;
using testing::of_kind;

constexpr std::uint64_t kDayScans = 24ULL * 3600 * 32000;
static_assert(kDayScans == 2'764'800'000);

proto::Refusal refusal_of(JigFixture& jig, const proto::HostToJig& command) {
  jig.send(command);
  return testing::last_answer(jig.heard()).refusal();
}

/// A session with something of everything, begun at `first_scan`: a signal that depends on the distance from there
/// only.
std::vector<HeardFrame> session_from(std::uint64_t first_scan) {
  JigFixture jig(Mode::kBench, 0xFFFF'FFF0);
  jig.lose(first_scan);
  const auto signal = [first_scan](std::uint64_t scan, std::size_t channel) {
    const std::uint64_t t = scan - std::min(scan, first_scan);
    if (channel == 0) return static_cast<std::int16_t>(t % 2500 < 40 ? 800 : 1000);
    if (channel == 19) return static_cast<std::int16_t>(t / 3000 % 2 == 0 ? 0 : 2000);
    return static_cast<std::int16_t>(1000 + (t * 7 + channel) % 5);
  };
  jig.play(signal, 1);
  proto::Arm arm;
  arm.set_set(1);
  *arm.add_limits() = testing::low_limit(0, 900);
  arm.add_thresholds()->set_code(950);
  jig.begin(arm, [](proto::Configure& configure) {
    configure.add_step_triggers()->set_channel(19);
    configure.mutable_step_triggers(0)->set_least_code(500);
  });
  jig.describe_load_bank();
  proto::HostToJig steps;
  for (const bool on : {true, false}) {
    auto* step = steps.mutable_load_steps()->add_steps();
    step->set_on(on);
    step->set_after_us(1717);
  }
  steps.mutable_load_steps()->set_repeat(20);
  EXPECT_EQ(refusal_of(jig, steps), proto::REFUSAL_NONE);
  jig.heard();
  jig.play(signal, 700);
  jig.edge({.line = 1, .high = true, .scan = jig.next_scan() + 3});
  jig.play(signal, 100);
  jig.stop();
  return jig.heard();
}

void shift(proto::Event& event, std::uint64_t by) {
  if (event.has_excursion()) {
    proto::Excursion& excursion = *event.mutable_excursion();
    excursion.set_start_scan(excursion.start_scan() - by);
    excursion.set_end_scan(excursion.end_scan() - by);
    excursion.set_extreme_scan(excursion.extreme_scan() - by);
  }
  if (event.has_load_step()) event.mutable_load_step()->set_scan(event.load_step().scan() - by);
  if (event.has_settled()) {
    event.mutable_settled()->set_before_scan(event.settled().before_scan() - by);
    event.mutable_settled()->set_after_scan(event.settled().after_scan() - by);
  }
  if (event.has_edge()) event.mutable_edge()->set_scan(event.edge().scan() - by);
  if (event.has_step_sample()) {
    event.mutable_step_sample()->set_first_scan(event.step_sample().first_scan() - by);
    event.mutable_step_sample()->set_end_scan(event.step_sample().end_scan() - by);
  }
  if (event.has_crossing()) event.mutable_crossing()->set_scan_before(event.crossing().scan_before() - by);
}

/// What a frame says, with every scan index told from `first_scan` on, and without the sequence.
std::string relative(proto::JigToHost message, std::uint64_t first_scan) {
  message.clear_sequence();
  if (message.has_event()) shift(*message.mutable_event(), first_scan);
  if (message.has_windows()) message.mutable_windows()->set_first_scan(message.windows().first_scan() - first_scan);
  if (message.has_capture()) {
    proto::CaptureBlock& capture = *message.mutable_capture();
    capture.set_first_scan(capture.first_scan() - first_scan);
    capture.set_trigger_scan(capture.trigger_scan() - first_scan);
  }
  if (message.has_status()) message.mutable_status()->set_scan(message.status().scan() - first_scan);
  if (message.has_status()) message.mutable_status()->clear_scans_lost();
  if (message.has_time_mark()) message.mutable_time_mark()->set_scan(message.time_mark().scan() - first_scan);
  if (message.has_acknowledgement()) {
    message.mutable_acknowledgement()->set_scan(message.acknowledgement().scan() - first_scan);
  }
  return message.ShortDebugString();
}

/// The same session says the same across every border of the scan counter's parts.
TEST(WrapTest, SaysTheSameAcrossTheBordersOfTheScanCounter) {
  constexpr std::uint64_t kBefore = 200 * 32;  // at least so far into the run lies the border
  const std::uint64_t borders[] = {0x1'0000,      0x8000'0000,         kDayScans,         0x1'0000'0000,
                                   0x2'0000'0000, 0x8000'0000'0000ULL, 0x1'0000'0000'0000};
  // One whole second before any of it, so that marks and statuses fall alike.
  const std::uint64_t reference_scan = 32'000;
  const auto reference = session_from(reference_scan);
  ASSERT_GT(testing::events_of(reference, proto::Event::kExcursion).size(), 3U);
  ASSERT_GT(testing::events_of(reference, proto::Event::kLoadStep).size(), 3U);
  ASSERT_GT(testing::events_of(reference, proto::Event::kSettled).size(), 1U);
  ASSERT_GT(testing::events_of(reference, proto::Event::kCrossing).size(), 3U);
  ASSERT_GT(testing::events_of(reference, proto::Event::kEdge).size(), 30U);
  ASSERT_GT(of_kind(reference, proto::JigToHost::kCapture).size(), 10U);
  for (const std::uint64_t border : borders) {
    const std::uint64_t first_scan = (border - kBefore) / 16'000 * 16'000;  // keep-alives fall alike
    const auto frames = session_from(first_scan);
    ASSERT_EQ(frames.size(), reference.size()) << border;
    for (std::size_t k = 0; k < frames.size(); ++k) {
      ASSERT_EQ(relative(frames[k].message, first_scan), relative(reference[k].message, reference_scan))
          << border << ", frame " << k;
    }
  }
}

TEST(WrapTest, SequenceGoesOverItsEnd) {
  std::uint32_t expected = 0xFFFF'FFF0;
  bool wrapped = false;
  JigFixture jig(Mode::kObserve, expected);
  jig.begin({});
  jig.play([](std::uint64_t, std::size_t) { return std::int16_t{0}; }, 2000);
  for (const HeardFrame& frame : jig.heard()) {
    if (expected > 0xFFFF'0000) {  // begin() has read the first ones
      wrapped = frame.message.sequence() < 100;
      expected = frame.message.sequence();
      continue;
    }
    EXPECT_EQ(frame.message.sequence(), ++expected);
  }
  EXPECT_TRUE(wrapped || expected < 10'000);
}

/// Numbers of captures and steps go over their end without ever being 0, which is none.
TEST(WrapTest, CapturesAndStepsSkipZero) {
  JigFixture jig(Mode::kObserve, 0xFFFF'FFFE);
  jig.begin({}, [](proto::Configure& configure) {
    configure.add_step_triggers()->set_channel(3);
    configure.mutable_step_triggers(0)->set_least_code(500);
  });
  jig.play([](std::uint64_t scan, std::size_t) { return static_cast<std::int16_t>(scan / 2000 % 2 * (scan / 10)); },
           500);
  std::vector<std::uint32_t> steps;
  std::vector<std::uint32_t> captures;
  for (const HeardFrame& frame : jig.heard()) {
    if (frame.message.event().has_load_step()) steps.push_back(frame.message.event().load_step().step_id());
    const bool last = frame.message.has_capture() && frame.message.capture().remaining() == 0;
    if (last) captures.push_back(frame.message.capture().capture());
  }
  ASSERT_GT(steps.size(), 3U);
  ASSERT_GT(captures.size(), 2U);
  EXPECT_EQ((std::vector<std::uint32_t>{steps.begin(), steps.begin() + 3}),
            (std::vector<std::uint32_t>{0xFFFF'FFFF, 1, 2}));
  EXPECT_EQ((std::vector<std::uint32_t>{captures.begin(), captures.begin() + 2}),
            (std::vector<std::uint32_t>{0xFFFF'FFFF, 1}));
}

TEST(WrapTest, BootCounterAndCommandIdsAtTheirEnds) {
  for (const std::uint32_t boot : {0xFFFF'FFFFU, 0U}) {
    JigFixture jig;
    jig.store.boot = boot;
    jig.last_id = 0xFFFF'FFFD;
    jig.identify();
    jig.keep_alive();
    proto::HostToJig command;
    command.mutable_keep_alive();
    command.set_id(1);  // a host skips 0: that is no id
    jig.send(command);
    std::vector<std::uint32_t> ids;
    for (const auto& message : of_kind(jig.heard(), proto::JigToHost::kAcknowledgement)) {
      EXPECT_EQ(message.boot(), boot);
      ids.push_back(message.acknowledgement().id());
    }
    EXPECT_EQ(ids, (std::vector<std::uint32_t>{0xFFFF'FFFE, 0xFFFF'FFFF, 1}));
  }
}

TEST(WrapTest, CountsOfLossesStayAtTheirEnd) {
  JigFixture jig;
  jig.begin({});
  jig.lose(0x1'8000'0000);
  jig.play([](std::uint64_t, std::size_t) { return std::int16_t{0}; }, 1);
  EXPECT_EQ(jig.health().scans_lost, UINT32_MAX);
  jig.lose(32);
  jig.play([](std::uint64_t, std::size_t) { return std::int16_t{0}; }, 1);
  EXPECT_EQ(jig.health().scans_lost, UINT32_MAX);
}

std::int16_t quiet(std::uint64_t, std::size_t) {
  return 0;
}

/// A second host in the middle of a run: it may ask and stop, not change what runs; then the first one may not either.
TEST(TwoHostsTest, TheSecondMayAskAndStopButNotChangeWhatRuns) {
  JigFixture jig;
  jig.begin({});
  jig.play(quiet, 10);
  jig.heard();
  jig.last_id = 0;  // the second host counts its ids from 1 too
  jig.identify();
  const auto hello = jig.heard();
  EXPECT_EQ(of_kind(hello, proto::JigToHost::kHello).size(), 1U);
  EXPECT_TRUE(jig.health().running) << "asking who is there stops nothing";
  proto::HostToJig arm;
  arm.mutable_arm()->set_set(2);
  EXPECT_EQ(refusal_of(jig, arm), proto::REFUSAL_RUNNING);
  proto::HostToJig configure;
  configure.mutable_configure()->set_scans_per_window(256);
  configure.mutable_configure()->set_line_bytes_per_s(100000);
  EXPECT_EQ(refusal_of(jig, configure), proto::REFUSAL_RUNNING);
  jig.play(quiet, 40);
  for (const auto& message : of_kind(jig.heard(), proto::JigToHost::kWindows)) {
    EXPECT_EQ(message.windows().scans_per_window(), 32U) << "the first host's";
  }
  jig.stop();
  EXPECT_FALSE(jig.health().running);
  jig.heard();
  EXPECT_EQ(refusal_of(jig, configure), proto::REFUSAL_NONE);
}

TEST(TwoHostsTest, AReplayedCommandOfAnotherHostIsDoneByItsOwnMerits) {
  JigFixture jig(Mode::kBench);
  jig.begin({});
  proto::HostToJig drive;
  drive.mutable_drive_ps_on()->set_on(true);
  drive.set_id(50);
  EXPECT_EQ(refusal_of(jig, drive), proto::REFUSAL_NONE);
  proto::HostToJig release;
  release.mutable_drive_ps_on()->set_on(false);
  release.set_id(51);
  EXPECT_EQ(refusal_of(jig, release), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal_of(jig, drive), proto::REFUSAL_NONE) << "a repeat is answered";
  EXPECT_FALSE(jig.outputs.ps_on) << "and not done again";
}

/// Whoever joins at any byte has every frame from the next delimiter on, and nothing false before it.
TEST(JoinTest, AHostThatConnectsInMidStreamReadsOnFromTheNextFrame) {
  JigFixture jig;
  jig.begin({});
  jig.play([](std::uint64_t scan, std::size_t c) { return static_cast<std::int16_t>(scan % 17 * c); }, 200);
  const std::vector<std::byte> line = jig.line.bytes;
  const std::size_t frames = testing::frames_in(line).size();
  ASSERT_GT(frames, 5U);
  for (std::size_t from = 0; from < line.size(); from += 7) {
    wire::FrameReceiver<wire::kPayloadBytesMax> receiver;
    std::size_t sound = 0;
    std::size_t delimiters = 0;
    for (std::size_t k = from; k < line.size(); ++k) {
      sound += receiver.push(line[k]) ? 1 : 0;
      delimiters += line[k] == wire::kDelimiter ? 1 : 0;
    }
    EXPECT_EQ(receiver.damaged() + receiver.overlong(), 0U) << from;
    EXPECT_EQ(sound, delimiters - 1) << from;
  }
}

/// Half a command, then another host's whole one behind its own delimiter: the half costs nobody anything.
TEST(JoinTest, HalfACommandDoesNotTakeTheNextOneWithIt) {
  JigFixture jig;
  proto::HostToJig command;
  command.mutable_keep_alive();
  command.set_id(9);
  const auto frame = testing::framed(command.SerializeAsString());
  for (std::size_t kept = 1; kept < frame.size(); ++kept) {
    jig.heard();
    jig.send_bytes(std::span(frame).first(kept));
    jig.send_bytes(std::array{wire::kDelimiter});
    jig.send_bytes(frame);
    EXPECT_EQ(testing::last_answer(jig.heard()).id(), 9U) << kept;
  }
}

}  // namespace
}  // namespace firmware
