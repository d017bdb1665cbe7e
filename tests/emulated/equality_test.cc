// SPDX-License-Identifier: Apache-2.0
// One session, three boards: the same bytes. Nothing here says that the bytes are right; the second decoder, NumPy and
// the unit tests of the core do.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <bit>
#include <map>

#include <fmt/core.h>

#include "tests/emulated/emulator.h"
#include "tests/emulated/jig_run.h"
#include "tests/emulated/native_run.h"
#include "tests/emulated/session_files.h"

namespace emulated {
namespace {

namespace proto = steadyrail::proto;

constexpr std::uint64_t kSeed = 20260101;

// Budgets at 24 channels and 32 kS/s. A scan lasts 5,250 cycles of the chip, a block of 32 scans 168,000. Instructions
// are counted, cycles are not: with the flash's wait states hidden by its cache an instruction is taken to cost 1.3
// cycles (an assumption, measured on no chip), so that these budgets fill 20 % of a scan and 75 % of a block.
constexpr std::uint32_t kInstructionsPerScanMax = 800;           // averaged over everything
constexpr std::uint32_t kStormInstructionsPerBlockMax = 96'000;  // on average, and of acquiring alone in any block
constexpr std::uint32_t kInstructionsBetweenBlocksMax = 84'000;  // 16 scans at an instruction a cycle

/// Talking is cut into steps; the board takes a block between any two of them.
void check_steps(const EmulatorRun& run) {
  EXPECT_LE(printed_figure(run, "instructions in one go, talking, at most"), kInstructionsBetweenBlocksMax);
}

/// Where two streams part: the frame, and what it is here.
std::string first_difference(const Bytes& here, const Bytes& there) {
  const auto ours = split_frames(here);
  const auto theirs = split_frames(there);
  for (std::size_t k = 0; k < std::max(ours.size(), theirs.size()); ++k) {
    const bool both = k < ours.size() && k < theirs.size();
    if (both && std::ranges::equal(ours[k], theirs[k])) continue;
    if (!both) return fmt::format("{} frames here, {} there", ours.size(), theirs.size());
    return fmt::format("frame {} differs: {}", k, messages_of(here)[k].ShortDebugString().substr(0, 400));
  }
  return here == there ? "" : "the bytes outside frames differ";
}

/// Frames by kind; events by their own kind.
std::map<std::string, std::size_t> kinds_of(const Bytes& frames) {
  std::map<std::string, std::size_t> kinds;
  for (const proto::JigToHost& message : messages_of(frames)) {
    std::string kind = proto::JigToHost::descriptor()->FindFieldByNumber(message.content_case())->name();
    if (message.has_event()) {
      kind += '/' + proto::Event::descriptor()->FindFieldByNumber(message.event().kind_case())->name();
    }
    ++kinds[kind];
  }
  return kinds;
}

/// The bytes after the jig's Hello, and that Hello without the name of the program that says it.
std::pair<Bytes, std::string> without_program_name(const Bytes& frames) {
  proto::JigToHost hello = messages_of(frames).at(1);
  EXPECT_TRUE(hello.has_hello());
  hello.mutable_hello()->clear_firmware();
  const auto split = split_frames(frames);
  return {Bytes(split.at(2).data(), frames.data() + frames.size()), hello.SerializeAsString()};
}

/// The chip's frames through the second decoder, against NumPy.
EmulatorRun read_again(const std::filesystem::path& folder) {
  return run_shell(fmt::format("'{}' '{}/tests/emulated/arm_frames.py' '{}' '{}' '{}' 2>&1", STEADYRAIL_PYTHON,
                               STEADYRAIL_SOURCE_DIR, folder.string(), STEADYRAIL_SOURCE_DIR "/proto",
                               STEADYRAIL_PROTOC));
}

TEST(EqualityTest, ChipAndVirtualJigSayTheSameOfAMinuteOfAWeakRail) {
  const auto folder = fresh_folder("weak-12v");
  write_scenario(folder, "weak-12v", kSeed, 60);
  const Bytes native = replay_natively(folder);
  const auto kinds = kinds_of(native);
  for (const char* kind : {"hello", "windows", "capture", "status", "acknowledgement", "time_mark", "event/excursion",
                           "event/load_step", "event/settled", "event/edge", "event/crossing"}) {
    EXPECT_TRUE(kinds.contains(kind)) << "the session does not exercise " << kind;
  }
  const EmulatorRun emulated = run_emulated(folder);
  EXPECT_EQ(emulated.exit_code, 0) << emulated.printed;
  EXPECT_EQ(first_difference(native, emulated.frames), "");

  const Bytes process = run_virtual_jig(folder);
  EXPECT_EQ(without_program_name(process), without_program_name(native)) << first_difference(process, native);

  fmt::print("weak-12v, 60 s, seed {}: {} bytes in {} frames, the same on three boards\n", kSeed, native.size(),
             split_frames(native).size());
  for (const auto& [kind, count] : kinds) fmt::print("  {:<18} {:>6}\n", kind, count);
  fmt::print("{}", emulated.printed);
  EXPECT_LE(printed_figure(emulated, "instructions a scan, all"), kInstructionsPerScanMax);
  check_steps(emulated);

  const EmulatorRun reading = read_again(folder);
  EXPECT_EQ(reading.exit_code, 0) << reading.printed;
  EXPECT_THAT(reading.printed, testing::HasSubstr(fmt::format("{} frames read", split_frames(native).size())));
  fmt::print("{}", reading.printed);
  if (!HasFailure()) std::filesystem::remove(folder / "scans.bin");
}

/// A start out of standby with its ramp: 1.2 s of 8 channels, 4,000 points a second, not one missing.
TEST(EqualityTest, ChipSaysTheSameOfAStartAndFollowsItsRamps) {
  const auto folder = fresh_folder("start");
  write_scenario(folder, "healthy", kSeed, 3, {.ramp_ms = 1200});
  const Bytes native = replay_natively(folder);
  const EmulatorRun emulated = run_emulated(folder);
  EXPECT_EQ(emulated.exit_code, 0) << emulated.printed;
  EXPECT_EQ(first_difference(native, emulated.frames), "");
  const EmulatorRun reading = read_again(folder);
  EXPECT_EQ(reading.exit_code, 0) << reading.printed;
  EXPECT_THAT(reading.printed, testing::HasSubstr(" 38400 ramp points"));
  fmt::print("{}{}", emulated.printed, reading.printed);
  EXPECT_LE(printed_figure(emulated, "instructions a scan, all"), kInstructionsPerScanMax);
  EXPECT_LE(printed_figure(emulated, "instructions in one go, acquiring, at most"), kInstructionsBetweenBlocksMax);
  check_steps(emulated);
}

/// Both boards say the same of a scenario, and the chip stays within what it may take; returns what it said.
Bytes same_within_budget(const std::filesystem::path& folder) {
  const Bytes native = replay_natively(folder);
  const EmulatorRun emulated = run_emulated(folder);
  EXPECT_EQ(emulated.exit_code, 0) << emulated.printed;
  EXPECT_EQ(first_difference(native, emulated.frames), "");
  fmt::print("{}:\n{}", folder.filename().string(), emulated.printed);
  EXPECT_LE(printed_figure(emulated, "instructions a scan, all"), kInstructionsPerScanMax);
  EXPECT_LE(printed_figure(emulated, "instructions in one go, acquiring, at most"), kInstructionsBetweenBlocksMax);
  check_steps(emulated);
  return emulated.frames;
}

TEST(EqualityTest, ChipPlaysALoadProgrammeWithinItsBudget) {
  const auto folder = fresh_folder("bench-load");
  write_scenario(folder, "weak-12v", kSeed, 12, {.load_programme = true});
  const Bytes frames = same_within_budget(folder);
  std::uint32_t edges = 0;
  for (const proto::JigToHost& message : messages_of(frames)) {
    const proto::Edge& edge = message.event().edge();
    if (edge.line() == proto::LINE_GATE) edges += 1 + edge.untold();
    EXPECT_EQ(message.status().safety_cause(), proto::SAFETY_CAUSE_NONE);
  }
  EXPECT_GE(edges, 15'900U) << "1,000 rounds of 16; the last that were not told one by one have no edge after them";
}

/// Captures that are as long as was asked for, by the number of their channels: the most scans.
std::map<int, std::uint64_t> longest_whole(const Bytes& frames) {
  std::map<std::uint32_t, std::map<std::uint64_t, std::uint32_t>> captures;  // channels by scan
  for (const proto::JigToHost& message : messages_of(frames)) {
    const proto::CaptureBlock& block = message.capture();
    if (!message.has_capture() || block.scans_cut() != 0) continue;
    for (std::uint32_t s = 0; s < block.scan_count(); ++s) {
      captures[block.capture()][block.first_scan() + s] |= block.channel_mask();
    }
  }
  std::map<int, std::uint64_t> longest;
  for (const auto& [number, scans] : captures) {
    const std::uint32_t channels = scans.begin()->second;
    const bool alike = std::ranges::all_of(scans, [&](const auto& scan) { return scan.second == channels; });
    const bool contiguous = scans.rbegin()->first - scans.begin()->first + 1 == scans.size();
    EXPECT_TRUE(alike && contiguous) << "capture " << number;
    std::uint64_t& most = longest[std::popcount(channels)];
    most = std::max<std::uint64_t>(most, scans.size());
  }
  return longest;
}

/// 60 ms of all channels, or 180 of one converter's 8, from the memory the chip has, at the noise of a game. The second
/// decoder compares the codes of every tenth frame with those injected.
TEST(EqualityTest, ChipHoldsSixtyMillisecondsOfAllChannelsAndAHundredAndEightyOfEight) {
  const auto folder = fresh_folder("long-captures");
  write_scenario(folder, "weak-12v", kSeed, 12, {.long_captures = true});
  const Bytes frames = same_within_budget(folder);
  const auto longest = longest_whole(frames);
  EXPECT_GE(longest.at(24), 1920U);
  EXPECT_GE(longest.at(8), 5760U);
  const EmulatorRun reading = read_again(folder);
  EXPECT_EQ(reading.exit_code, 0) << reading.printed;
  fmt::print("longest whole captures: {} scans of 24 channels, {} of 8\n{}", longest.at(24), longest.at(8),
             reading.printed);
}

TEST(EqualityTest, ChipSaysTheSameTwiceInAStorm) {
  const auto folder = fresh_folder("storm");
  write_storm(folder, 3);
  const EmulatorRun first = run_emulated(folder);
  EXPECT_EQ(first.exit_code, 0) << first.printed;
  const EmulatorRun second = run_emulated(folder);
  EXPECT_EQ(first.frames, second.frames);
  EXPECT_EQ(first.printed, second.printed);
  EXPECT_EQ(first_difference(replay_natively(folder), first.frames), "");
  // 16 excursions a block on each of 24 channels, each of one scan; every one is told or counted.
  std::uint64_t excursions = 0;
  for (const proto::JigToHost& message : messages_of(first.frames)) {
    if (message.event().has_excursion()) ++excursions;
    if (message.event().has_storm()) excursions += message.event().storm().excursions();
  }
  EXPECT_EQ(excursions, 24U * 16 * 2999);
  fmt::print("{}", first.printed);
  EXPECT_LE(printed_figure(first, "instructions a window of 32 scans, all"), kStormInstructionsPerBlockMax);
  EXPECT_LE(printed_figure(first, "instructions in one go, acquiring, at most"), kStormInstructionsPerBlockMax);
  check_steps(first);
}

TEST(EqualityTest, ChipKeepsItsBudgetInAStormWithRamps) {
  const auto folder = fresh_folder("storm-ramps");
  write_storm(folder, 2, true);
  const EmulatorRun run = run_emulated(folder);
  EXPECT_EQ(run.exit_code, 0) << run.printed;
  EXPECT_EQ(first_difference(replay_natively(folder), run.frames), "");
  fmt::print("{}", run.printed);
  EXPECT_GE(kinds_of(run.frames).at("ramp"), 200U);
  EXPECT_LE(printed_figure(run, "instructions a window of 32 scans, all"), kStormInstructionsPerBlockMax);
  EXPECT_LE(printed_figure(run, "instructions in one go, acquiring, at most"), kStormInstructionsPerBlockMax);
  check_steps(run);
}

TEST(EqualityTest, ChipEndsWithItsReasonWhenTheScansAreCutShort) {
  const auto folder = fresh_folder("cut");
  write_storm(folder, 1);
  std::filesystem::resize_file(folder / "scans.bin", 100'000);
  const EmulatorRun run = run_emulated(folder);
  EXPECT_NE(run.exit_code, 0);
  EXPECT_THAT(run.printed, testing::HasSubstr("scans.bin is damaged"));
}

}  // namespace
}  // namespace emulated
