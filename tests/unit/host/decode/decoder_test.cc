// SPDX-License-Identifier: Apache-2.0
#include "host/decode/decoder.h"

#include <random>

#include "proto/wire/frame.h"
#include "tests/unit/host/decode/decoder_fixture.h"

namespace host::decode {
namespace {

using namespace steadyrail::proto;
using namespace testing_jig;

TEST_F(DecoderTest, TellsAWholeSessionInOrderWithoutAGap) {
  feed(small_recording());
  const Coverage coverage = finish();
  EXPECT_EQ(coverage.scans_expected(), 12 * kBlockScans);
  EXPECT_EQ(coverage.scans_seen(), 12 * kBlockScans);
  EXPECT_EQ(coverage.frames_damaged(), 0u);
  EXPECT_EQ(coverage.bytes_discarded(), 0u);
  EXPECT_EQ(coverage.gaps_total(), 0u);
  EXPECT_EQ(told_.count("windows"), 12u);
  EXPECT_EQ(told_.windows_wrong(), 0u);
  EXPECT_EQ(told_.count("capture 1 5120 5130 1 0:31 3:331"), 1u);
  EXPECT_EQ(told_.count("log 7"), 1u);
  EXPECT_EQ(told_.lines().back(), "finish");
  SessionResult result;
  decoder_.describe(result);
  EXPECT_EQ(result.session().ended(), "finished");
  EXPECT_EQ(result.session().jig_id(), "J-01");
  EXPECT_EQ(result.session().started_utc(), "2026-01-01T00:00:00Z");
  EXPECT_DOUBLE_EQ(result.session().duration_s(), 12 * 1024 / 32'000.0);
  EXPECT_FALSE(result.simulated());
}

TEST_F(DecoderTest, AnySplitOfTheStreamTellsTheSame) {
  const Bytes bytes = small_recording();
  feed(bytes);
  finish();
  for (const std::size_t piece : {1u, 2u, 3u, 7u, 64u, 255u, 4096u}) {
    Told told;
    Decoder decoder(told);
    for (std::size_t at = 0; at < bytes.size(); at += piece) {
      decoder.feed(std::span(bytes).subspan(at, std::min(piece, bytes.size() - at)));
    }
    decoder.finish();
    EXPECT_EQ(told.lines(), told_.lines()) << piece << " bytes at a time";
  }
}

TEST_F(DecoderTest, CutAtEveryByteTellsAPrefixAndCountsTheRest) {
  const Bytes bytes = small_recording();
  feed(bytes);
  finish();
  const auto& all = told_.lines();
  std::size_t frame_start = 0;
  for (std::size_t cut = 0; cut < bytes.size(); ++cut) {
    Told told;
    Decoder decoder(told);
    decoder.feed(std::span(bytes).first(cut));
    decoder.finish();
    if (cut > 0 && bytes[cut - 1] == wire::kDelimiter) frame_start = cut;
    ASSERT_EQ(decoder.coverage().bytes_discarded(), cut - frame_start) << "cut at " << cut;
    ASSERT_EQ(decoder.coverage().frames_damaged(), 0u);
    // Everything told before the end is a prefix of the whole; a gap at the end is not possible in 12 blocks.
    const auto& lines = told.lines();
    ASSERT_FALSE(lines.empty());
    ASSERT_TRUE(std::equal(lines.begin(), lines.end() - 1, all.begin())) << "cut at " << cut;
    SessionResult result;
    decoder.describe(result);
    ASSERT_EQ(result.session().ended(), "cut");
  }
}

TEST_F(DecoderTest, AFlippedBitAnywhereIsNoticedAndCounted) {
  const Bytes bytes = small_recording();
  const std::size_t header_bytes = header_note().size();
  for (std::size_t at = header_bytes; at < bytes.size(); at += 3) {
    Bytes damaged = bytes;
    damaged[at] ^= std::byte{1} << (at % 8);
    Told told;
    Decoder decoder(told);
    decoder.feed(damaged);
    decoder.finish();
    const Coverage coverage = decoder.coverage();
    ASSERT_TRUE(told.in_order()) << at;
    ASSERT_EQ(told.windows_wrong(), 0u) << "byte " << at;
    ASSERT_EQ(coverage.scans_expected(), 12 * kBlockScans) << "byte " << at;
    // A note may lie before the first frame heard, where half a frame is no damage.
    const std::size_t tolerated = header_bytes + port_note(PORT_STATE_OPENED).size() + JigFrames().hello().size();
    if (at >= tolerated) {
      ASSERT_GE(coverage.bytes_discarded(), 1u) << "byte " << at;
    }
  }
}

TEST_F(DecoderTest, IgnoresWhatCameBeforeTheFirstDelimiterAndEmptyFrames) {
  feed(header_note());
  feed(port_note(PORT_STATE_OPENED));
  const Bytes tail = jig_.windows(0);
  feed(Bytes(tail.begin() + 100, tail.end()));
  feed(Bytes(5, wire::kDelimiter));
  feed(jig_.hello());
  const Coverage coverage = finish();
  EXPECT_EQ(coverage.frames_damaged(), 0u);
  EXPECT_EQ(coverage.bytes_discarded(), 0u);
  EXPECT_EQ(coverage.frames(), 1u);
}

TEST_F(DecoderTest, ADamagedBlockLeavesAGapBlamedOnDamage) {
  begin();
  feed(jig_.windows(0));
  Bytes damaged = jig_.windows(kBlockScans);
  damaged[50] ^= std::byte{4};
  feed(damaged);
  feed(jig_.windows(2 * kBlockScans));
  const Coverage coverage = finish();
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].from_scan, kBlockScans);
  EXPECT_EQ(told_.gaps()[0].to_scan, 2 * kBlockScans);
  EXPECT_EQ(told_.gaps()[0].cause, LOSS_CAUSE_DAMAGED);
  EXPECT_EQ(coverage.frames_damaged(), 1u);
  EXPECT_EQ(coverage.bytes_discarded(), damaged.size());
  EXPECT_EQ(coverage.scans_expected(), 3 * kBlockScans);
  EXPECT_EQ(coverage.scans_seen(), 2 * kBlockScans);
  EXPECT_DOUBLE_EQ(coverage.gaps(0).start_s(), 0.032);
  EXPECT_DOUBLE_EQ(coverage.gaps(0).end_s(), 0.064);
}

TEST_F(DecoderTest, ALostBlockLeavesASequenceGap) {
  begin();
  feed(jig_.windows(0));
  jig_.windows(kBlockScans);
  feed(jig_.windows(2 * kBlockScans));
  finish();
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].cause, LOSS_CAUSE_SEQUENCE_GAP);
  EXPECT_EQ(decoder_.counts().missing, 1u);
}

TEST_F(DecoderTest, ALostFirstBlockLeavesAGapFromTheStart) {
  begin();
  jig_.windows(0);
  feed(jig_.windows(kBlockScans));
  const Coverage coverage = finish();
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].from_scan, 0u);
  EXPECT_EQ(coverage.scans_expected(), 2 * kBlockScans);
}

TEST_F(DecoderTest, ALostLastBlockLeavesAGapUpToTheStop) {
  begin();
  feed(jig_.status(0, true));
  feed(jig_.windows(0));
  jig_.windows(kBlockScans);
  feed(jig_.status(2 * kBlockScans, false));
  const Coverage coverage = finish();
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].cause, LOSS_CAUSE_SEQUENCE_GAP);
  EXPECT_EQ(coverage.scans_expected(), 2 * kBlockScans);
}

TEST_F(DecoderTest, ScansThatTheJigItselfLostAreAnOverrun) {
  begin();
  feed(jig_.windows(0));
  feed(jig_.windows(kBlockScans + 96));
  finish();
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].to_scan, kBlockScans + 96);
  EXPECT_EQ(told_.gaps()[0].cause, LOSS_CAUSE_OVERRUN);
}

TEST_F(DecoderTest, RepeatedFramesAreUsedOnce) {
  begin();
  const Bytes first = jig_.windows(0);
  const Bytes second = jig_.windows(kBlockScans);
  feed(join({first, first, second, first, second}));
  const Coverage coverage = finish();
  EXPECT_EQ(told_.count("windows"), 2u);
  EXPECT_EQ(decoder_.counts().repeated, 3u);
  EXPECT_EQ(coverage.scans_seen(), 2 * kBlockScans);
  EXPECT_EQ(coverage.gaps_total(), 0u);
}

TEST_F(DecoderTest, TheSequenceNumberWrapsWithoutALoss) {
  jig_ = JigFrames(1, UINT32_MAX - 5);
  begin();
  for (std::uint64_t block = 0; block < 8; ++block) feed(jig_.windows(block * kBlockScans));
  EXPECT_LT(jig_.sequence(), 10u);
  const Coverage coverage = finish();
  EXPECT_EQ(coverage.gaps_total(), 0u);
  EXPECT_EQ(decoder_.counts().missing, 0u);
  EXPECT_EQ(told_.count("restarted"), 0u);
}

TEST_F(DecoderTest, AnOverlongRunIsSkippedAndCounted) {
  begin();
  feed(jig_.windows(0));
  const Bytes noise(3 * wire::kFrameBytesMax, std::byte{0x42});
  feed(noise);
  feed({wire::kDelimiter});
  feed(jig_.windows(kBlockScans));
  const Coverage coverage = finish();
  EXPECT_EQ(decoder_.counts().overlong, 1u);
  EXPECT_EQ(coverage.bytes_discarded(), noise.size() + 1);
  EXPECT_EQ(coverage.gaps_total(), 0u);
  EXPECT_EQ(coverage.scans_seen(), 2 * kBlockScans);
}

TEST_F(DecoderTest, AFrameOfTheGreatestLengthIsTakenAndOneByteMoreIsNot) {
  const Bytes longest = [] {
    Bytes payload(wire::kPayloadBytesMax, std::byte{1});
    payload[0] = std::byte{0xFA};  // field 31, length-delimited: from a newer jig
    payload[1] = std::byte{0x01};
    const std::size_t rest = payload.size() - 4;
    payload[2] = static_cast<std::byte>(rest & 0x7F) | std::byte{0x80};
    payload[3] = static_cast<std::byte>(rest >> 7);
    Bytes frame(wire::kFrameBytesMax);
    frame.resize(wire::encode_frame(payload, frame));
    return frame;
  }();
  begin();
  feed(longest);
  EXPECT_EQ(decoder_.counts().unknown, 1u);
  feed(Bytes(wire::kFrameBytesMax, std::byte{1}));
  feed({wire::kDelimiter});
  finish();
  EXPECT_EQ(decoder_.counts().overlong, 1u);
}

TEST_F(DecoderTest, ARestartGoesOnAboveAllEarlierScansAndMovesEvents) {
  begin();
  for (std::uint64_t block = 0; block < 4; ++block) feed(jig_.windows(block * kBlockScans));
  jig_ = JigFrames(2);
  feed(jig_.hello());
  told_.scan_offset = 4 * kBlockScans + 32;  // the least hole, by hand: no time mark tells how long it was
  feed(jig_.windows(0));
  feed(jig_.excursion(2, 100, 120));
  feed(jig_.windows(kBlockScans));
  const Coverage coverage = finish();
  EXPECT_EQ(told_.count("restarted 2"), 1u);
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].cause, LOSS_CAUSE_RESET);
  EXPECT_EQ(told_.gaps()[0].from_scan, 4 * kBlockScans);
  EXPECT_EQ(told_.gaps()[0].to_scan, 4 * kBlockScans + 32);
  EXPECT_EQ(told_.windows_wrong(), 0u);
  EXPECT_EQ(told_.count("event excursion { channel: 2 side: SIDE_LOW start_scan: 4228 end_scan: 4248"), 1u);
  EXPECT_EQ(coverage.scans_seen(), 6 * kBlockScans);
}

TEST_F(DecoderTest, TheHostsClockTellsHowLongARestartTook) {
  constexpr std::uint64_t kUtcUs = 1'767'225'600'000'000;
  begin();
  feed(join({received_note(kUtcUs), jig_.time_mark(0)}));
  feed(jig_.windows(0));
  jig_ = JigFrames(2);
  feed(jig_.hello());
  // Five seconds later, 3,200 scans after the new start: session scan 160,000 by hand, so the offset is 156,800.
  feed(join({received_note(kUtcUs + 5'000'000), jig_.time_mark(3200)}));
  told_.scan_offset = 156'800;
  feed(jig_.windows(3200));
  finish();
  EXPECT_EQ(told_.windows_wrong(), 0u);
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].to_scan, 160'000u);
}

TEST_F(DecoderTest, ASequenceThatStepsBackWithTheSameBootCounterIsARestart) {
  jig_ = JigFrames(1, 1000);
  begin();
  feed(jig_.windows(0));
  jig_ = JigFrames(1);
  feed(jig_.hello());
  feed(jig_.windows(0));
  finish();
  EXPECT_EQ(told_.count("restarted"), 1u);
  EXPECT_EQ(told_.count("windows"), 2u);
}

TEST_F(DecoderTest, APortThatWentIsBlamedForTheGap) {
  begin();
  feed(jig_.windows(0));
  feed(port_note(PORT_STATE_GONE));
  feed(port_note(PORT_STATE_OPENED));
  jig_.skip(40);
  const Bytes half = jig_.windows(8 * kBlockScans);
  feed(Bytes(half.begin() + 7, half.end()));
  feed(jig_.windows(9 * kBlockScans));
  const Coverage coverage = finish();
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].cause, LOSS_CAUSE_PORT_GONE);
  EXPECT_EQ(coverage.frames_damaged(), 0u);
  EXPECT_EQ(coverage.scans_expected(), 10 * kBlockScans);
}

TEST_F(DecoderTest, BytesTheDiskRefusedAreBlamedOnTheDisk) {
  begin();
  feed(jig_.windows(0));
  jig_.windows(kBlockScans);
  feed(lost_note(1234));
  feed(jig_.windows(2 * kBlockScans));
  finish();
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].cause, LOSS_CAUSE_DISK_FULL);
  ASSERT_EQ(decoder_.remarks().size(), 1u);
  EXPECT_EQ(decoder_.remarks()[0], "1234 bytes are missing from the recording: disk-full");
}

TEST_F(DecoderTest, AnotherProtocolVersionIsRemarkedAndWhatIsKnownKept) {
  feed(header_note());
  feed(jig_.hello(0, 2));
  JigToHost newer;  // a kind of content from the future
  newer.GetReflection()->MutableUnknownFields(&newer)->AddLengthDelimited(31, "later");
  feed(jig_.frame(newer));
  feed(jig_.windows(0));
  const Coverage coverage = finish();
  EXPECT_EQ(coverage.scans_seen(), kBlockScans);
  EXPECT_EQ(coverage.frames_damaged(), 0u);
  EXPECT_EQ(decoder_.counts().unknown, 1u);
  ASSERT_EQ(decoder_.remarks().size(), 2u);
  EXPECT_EQ(decoder_.remarks()[0], "the jig speaks protocol 2, this program 1: what both understand is kept");
  EXPECT_EQ(decoder_.remarks()[1], "1 frame of a kind unknown to this program passed over");
}

TEST_F(DecoderTest, SoundFramesWithNonsenseInsideAreDamaged) {
  begin();
  JigToHost message;
  message.mutable_windows()->set_first_scan(0);
  message.mutable_windows()->set_scans_per_window(33);
  message.mutable_windows()->set_window_count(32);
  feed(jig_.frame(message, Bytes(100, std::byte{0xA5})));
  message.mutable_windows()->set_scans_per_window(32);
  message.mutable_windows()->set_window_count(33);
  feed(jig_.frame(message, Bytes(100, std::byte{0xA5})));
  message.mutable_windows()->set_window_count(32);
  feed(jig_.frame(message, Bytes(3, std::byte{0xA5})));
  message.mutable_windows()->set_first_scan(UINT64_MAX - 5);
  feed(jig_.frame(message, Bytes(100, std::byte{0xA5})));
  message.mutable_capture()->set_scan_count(40);
  feed(jig_.frame(message, Bytes(100, std::byte{0xA5})));
  message.mutable_capture()->set_scan_count(4);
  message.mutable_capture()->set_channel_mask(1u << 24);
  feed(jig_.frame(message, Bytes(100, std::byte{0xA5})));
  const Coverage coverage = finish();
  EXPECT_EQ(coverage.frames_damaged(), 6u);
  EXPECT_EQ(told_.count("windows"), 0u);
  EXPECT_EQ(told_.count("capture"), 0u);
}

TEST_F(DecoderTest, ListsAThousandGapsAndCountsAll) {
  begin();
  constexpr std::uint64_t kGaps = 1500;
  for (std::uint64_t i = 0; i <= kGaps; ++i) {
    feed(jig_.windows(2 * i * kBlockScans));
    jig_.skip(1);
  }
  const Coverage coverage = finish();
  EXPECT_EQ(coverage.gaps_size(), 1000);
  EXPECT_EQ(coverage.gaps_total(), kGaps);
  EXPECT_EQ(coverage.scans_expected(), (2 * kGaps + 1) * kBlockScans);
}

TEST_F(DecoderTest, MergedWindowsLieEndToEndToo) {
  begin();
  feed(jig_.windows(0, 32, 32));
  feed(jig_.windows(1024, 16, 64));
  feed(jig_.windows(2048, 5, 256));
  feed(jig_.windows(2048 + 5 * 256, 32, 32));
  const Coverage coverage = finish();
  EXPECT_EQ(coverage.gaps_total(), 0u);
  EXPECT_EQ(coverage.scans_seen(), 3 * 1024u + 5 * 256u);
}

TEST_F(DecoderTest, NoiseAloneNeitherCrashesNorCounts) {
  std::mt19937_64 random(5);
  feed(header_note());
  std::uint64_t noise_bytes = 0;
  for (int i = 0; i < 200; ++i) {
    Bytes noise(random() % 5000);
    for (std::byte& byte : noise) byte = static_cast<std::byte>(random());
    noise_bytes += noise.size();
    feed(noise);
  }
  const Coverage coverage = finish();
  EXPECT_EQ(coverage.frames(), 0u);
  EXPECT_EQ(coverage.scans_expected(), 0u);
  EXPECT_GT(coverage.frames_damaged(), 100u);
  EXPECT_LE(coverage.bytes_discarded(), noise_bytes);
}

}  // namespace
}  // namespace host::decode
