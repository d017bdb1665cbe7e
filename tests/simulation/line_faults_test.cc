// SPDX-License-Identifier: Apache-2.0
// Decoding under a faulty line. What arrived whole is found by a second reading of the stream, without the decoder: its
// pieces between delimiters, looked up among the frames that were sent.
#include <map>
#include <random>

#include <gtest/gtest.h>

#include "host/decode/decoder.h"
#include "tests/simulation/fault_line.h"
#include "tests/simulation/seeds.h"
#include "tests/simulation/told.h"

namespace testing_jig {
namespace {

using namespace steadyrail::proto;

constexpr std::uint64_t kBlockScans = 1024;
constexpr std::uint64_t kBlocks = 150;

/// One session's bytes after its header, and what became of the frames sent.
struct Stream {
  Bytes bytes;
  std::map<Bytes, bool> sent;  // frame without delimiter; true: a window block
};

LineFaults faults_of(std::mt19937_64& random) {
  const auto rate = [&] { return random() % 3 == 0 ? static_cast<std::uint32_t>(random() % 60) : 0u; };
  return {.frame_lost = rate(),
          .frame_doubled = rate(),
          .bit_flipped = rate(),
          .bytes_lost = rate(),
          .bytes_doubled = rate(),
          .noise_added = rate(),
          .flood_added = rate() / 10};
}

/// The handshake and the last status arrive; everything between is at the line's mercy.
Stream session_through(FaultLine& line) {
  Stream stream;
  JigFrames jig(3, UINT32_MAX - 60);
  const auto put = [&](const Bytes& frame, bool faulty, bool windows) {
    stream.sent[Bytes(frame.begin(), frame.end() - 1)] = windows;
    const Bytes arrives = faulty ? line.carry(frame) : frame;
    stream.bytes.insert(stream.bytes.end(), arrives.begin(), arrives.end());
  };
  put(jig.hello(), false, false);
  put(jig.acknowledgement(1, 0), false, false);
  put(jig.status(0, true), false, false);
  for (std::uint64_t block = 0; block < kBlocks; ++block) {
    const std::uint64_t scan = block * kBlockScans;
    if (block % 8 == 0) put(jig.time_mark(scan), true, false);
    if (block % 8 == 4) put(jig.status(scan, true), true, false);
    if (line.below(5) == 0) put(jig.excursion(2, scan, scan + 3), true, false);
    if (line.below(9) == 0) put(jig.capture(static_cast<std::uint32_t>(block), scan, 0), true, false);
    put(jig.windows(scan), true, true);
  }
  const std::byte delimiter{0};
  stream.bytes.push_back(delimiter);  // so that the last status stands for itself
  put(jig.status(kBlocks * kBlockScans, false), false, false);
  return stream;
}

struct Expected {
  std::uint64_t blocks = 0;
  std::uint64_t damaged = 0;
  std::uint64_t discarded = 0;
};

Expected second_reading(const Stream& stream) {
  Expected expected;
  std::map<Bytes, bool> left = stream.sent;
  Bytes piece;
  for (const std::byte byte : stream.bytes) {
    if (byte != std::byte{0}) {
      piece.push_back(byte);
      continue;
    }
    if (const auto found = left.find(piece); found != left.end()) {
      if (found->second) ++expected.blocks;
      left.erase(found);
    } else if (!piece.empty() && !stream.sent.contains(piece)) {
      ++expected.damaged;
      expected.discarded += piece.size() + 1;
    }
    piece.clear();
  }
  return expected;
}

std::uint64_t scans_in(const std::vector<host::decode::ScanGap>& gaps) {
  std::uint64_t scans = 0;
  for (const auto& gap : gaps) scans += gap.to_scan - gap.from_scan;
  return scans;
}

TEST(LineFaultsTest, EveryLossIsCountedAndSeenPlusGapsIsExpected) {
  for (std::uint64_t seed = 1; seed <= seeds(60); ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    std::mt19937_64 random(seed);
    FaultLine line(seed, faults_of(random));
    const Stream stream = session_through(line);
    const Expected expected = second_reading(stream);
    Told told;
    host::decode::Decoder decoder(told);
    decoder.feed(header_note());
    decoder.feed(port_note(PORT_STATE_OPENED));
    for (std::size_t at = 0; at < stream.bytes.size();) {
      const std::size_t piece = std::min<std::size_t>(1 + random() % 5000, stream.bytes.size() - at);
      decoder.feed(std::span(stream.bytes).subspan(at, piece));
      at += piece;
    }
    decoder.finish();
    const Coverage coverage = decoder.coverage();
    ASSERT_TRUE(told.in_order());
    ASSERT_EQ(told.windows_wrong(), 0u);
    ASSERT_EQ(coverage.scans_seen(), expected.blocks * kBlockScans);
    ASSERT_EQ(told.scans_seen(), coverage.scans_seen());
    ASSERT_EQ(coverage.scans_expected(), kBlocks * kBlockScans);
    ASSERT_EQ(coverage.scans_seen() + scans_in(told.gaps()), kBlocks * kBlockScans);
    ASSERT_EQ(coverage.frames_damaged(), expected.damaged);
    ASSERT_EQ(coverage.bytes_discarded(), expected.discarded);
    for (const auto& gap : told.gaps()) ASSERT_NE(gap.cause, LOSS_CAUSE_UNKNOWN);
  }
}

TEST(LineFaultsTest, ACleanLineLosesNothing) {
  FaultLine line(1, {});
  const Stream stream = session_through(line);
  const Expected expected = second_reading(stream);
  EXPECT_EQ(expected.blocks, kBlocks);
  EXPECT_EQ(expected.damaged, 0u);
}

TEST(LineFaultsTest, ACutAnywhereLosesOnlyWhatLiesBehindIt) {
  for (std::uint64_t seed = 1; seed <= seeds(60); ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    std::mt19937_64 random(seed);
    FaultLine line(seed, faults_of(random));
    Stream stream = session_through(line);
    stream.bytes.resize(random() % stream.bytes.size());
    const Expected expected = second_reading(stream);
    Told told;
    host::decode::Decoder decoder(told);
    decoder.feed(header_note());
    decoder.feed(port_note(PORT_STATE_OPENED));
    decoder.feed(stream.bytes);
    decoder.finish();
    const Coverage coverage = decoder.coverage();
    ASSERT_TRUE(told.in_order());
    ASSERT_EQ(coverage.scans_seen(), expected.blocks * kBlockScans);
    ASSERT_EQ(coverage.scans_seen() + scans_in(told.gaps()), coverage.scans_expected());
    ASSERT_LE(coverage.scans_expected(), kBlocks * kBlockScans);
    SessionResult result;
    decoder.describe(result);
    ASSERT_EQ(result.session().ended(), "cut");
  }
}

}  // namespace
}  // namespace testing_jig
