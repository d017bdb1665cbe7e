// SPDX-License-Identifier: Apache-2.0
#include "host/decode/session_index.h"

#include <algorithm>
#include <filesystem>
#include <fstream>

#include <unistd.h>

#include "tests/unit/host/decode/decoder_fixture.h"

namespace host::decode {
namespace {

using namespace testing_jig;
using record::RecordFault;
using record::SideIndex;

constexpr std::uint64_t kSecondScans = 32'000;

class SessionIndexTest : public testing::Test {
 protected:
  SessionIndexTest()
      : path_(std::filesystem::temp_directory_path() / ("index_test_" + std::to_string(::getpid()) + ".steadyrail")),
        bytes_(join({header_note(), port_note(steadyrail::proto::PORT_STATE_OPENED), jig_.hello()})) {}
  ~SessionIndexTest() override {
    std::filesystem::remove(path_);
    std::filesystem::remove(SideIndex::path_of(path_));
  }

  void add(const Bytes& more) { bytes_.insert(bytes_.end(), more.begin(), more.end()); }
  /// Blocks of 1,024 scans, the one that begins at `missing` left out.
  void add_blocks(std::uint64_t count, std::uint64_t missing = UINT64_MAX) {
    for (std::uint64_t block = 0; block < count; ++block) {
      const Bytes frame = jig_.windows(block * kBlockScans);
      if (block * kBlockScans != missing) add(frame);
    }
  }
  void write() {
    std::ofstream file(path_, std::ios::binary | std::ios::trunc);
    file.write(reinterpret_cast<const char*>(bytes_.data()), static_cast<std::streamsize>(bytes_.size()));
  }

  std::string path_;
  JigFrames jig_;
  Bytes bytes_;
};

TEST_F(SessionIndexTest, EachSecondHoldsItsExtremesCountsAndGaps) {
  constexpr std::uint64_t kMissing = 40 * kBlockScans;  // scans 40,960 to 41,984: in the second second
  add_blocks(125, kMissing);                            // 128,000 scans: four seconds
  write();
  const auto index = build_index(path_);
  ASSERT_TRUE(index.has_value()) << index.error().message;
  EXPECT_EQ(index->first_second(), 0u);
  ASSERT_EQ(index->level(0).size(), 4u);
  for (std::uint64_t second = 0; second < 4; ++second) {
    const record::IndexCell& cell = index->level(0)[second];
    EXPECT_EQ(cell.scans_seen, second == 1 ? kSecondScans - kBlockScans : kSecondScans);
    EXPECT_EQ(cell.scans_missing, second == 1 ? kBlockScans : 0);
    for (const std::size_t channel : {0u, 7u, 23u}) {
      std::int16_t least = INT16_MAX;
      std::int16_t most = INT16_MIN;
      for (std::uint64_t scan = second * kSecondScans; scan < (second + 1) * kSecondScans; scan += 32) {
        if (scan >= kMissing && scan < kMissing + kBlockScans) continue;
        least = std::min(least, window_min_code(channel, scan));
        most = std::max(most, static_cast<std::int16_t>(window_min_code(channel, scan) + 100));
      }
      EXPECT_EQ(cell.channels[channel].min, least);
      EXPECT_EQ(cell.channels[channel].max, most);
      EXPECT_GT(cell.channels[channel].mean_8, 8 * least);
      EXPECT_LT(cell.channels[channel].mean_8, 8 * most);
    }
  }
}

TEST_F(SessionIndexTest, CoarserLevelsSumUpSixteenCells) {
  add_blocks(32 * 40 + 1);  // 40 seconds and a little more
  write();
  const auto index = build_index(path_);
  ASSERT_TRUE(index.has_value());
  ASSERT_EQ(index->level_count(), 2u);
  ASSERT_EQ(index->level(0).size(), 41u);
  ASSERT_EQ(index->level(1).size(), 3u);
  EXPECT_EQ(index->level(1)[0].scans_seen, 16 * kSecondScans);
  EXPECT_EQ(index->level(1)[2].offset, index->level(0)[32].offset);
  std::int16_t least = INT16_MAX;
  for (std::size_t i = 16; i < 32; ++i) least = std::min(least, index->level(0)[i].channels[3].min);
  EXPECT_EQ(index->level(1)[1].channels[3].min, least);
  EXPECT_EQ(index->level_for(2), 1u);
  EXPECT_EQ(index->level_for(4), 0u);
  EXPECT_EQ(index->level_for(1000), 0u);
}

TEST_F(SessionIndexTest, IsLeftBesideTheRecordingAndMadeAnewWhenStaleOrDamaged) {
  add_blocks(64);
  write();
  const std::string beside = SideIndex::path_of(path_);
  ASSERT_TRUE(index_of(path_).has_value());
  ASSERT_TRUE(std::filesystem::exists(beside));
  const auto mark = record::mark_of(path_);
  ASSERT_TRUE(SideIndex::load(beside, *mark).has_value());

  std::fstream(beside, std::ios::in | std::ios::out | std::ios::binary).seekp(200).put('\x55');
  const auto damaged = SideIndex::load(beside, *mark);
  ASSERT_FALSE(damaged.has_value());
  EXPECT_EQ(damaged.error().fault, RecordFault::kForeign);
  ASSERT_TRUE(index_of(path_).has_value());
  EXPECT_TRUE(SideIndex::load(beside, *mark).has_value()) << "made anew";

  add(jig_.windows(64 * kBlockScans));
  write();
  EXPECT_FALSE(SideIndex::load(beside, *record::mark_of(path_)).has_value()) << "the recording has grown";
  const auto anew = index_of(path_);
  ASSERT_TRUE(anew.has_value());
  EXPECT_EQ(anew->level(0).back().scans_seen + 2 * kSecondScans, 65 * kBlockScans);
}

TEST_F(SessionIndexTest, ACutIndexAnywhereIsRefused) {
  add_blocks(64);
  write();
  ASSERT_TRUE(index_of(path_).has_value());
  const std::string beside = SideIndex::path_of(path_);
  const auto mark = record::mark_of(path_);
  for (std::size_t bytes = std::filesystem::file_size(beside); bytes-- > 0;) {
    std::filesystem::resize_file(beside, bytes);
    ASSERT_FALSE(SideIndex::load(beside, *mark).has_value()) << bytes;
  }
}

TEST_F(SessionIndexTest, AStretchIsReadWithoutWhatLiesBefore) {
  add_blocks(32 * 30, 21 * 32 * kBlockScans);
  write();
  const auto index = build_index(path_);
  ASSERT_TRUE(index.has_value());
  Told told;
  ASSERT_TRUE(review_stretch(path_, *index, 20, 22, told).has_value());
  EXPECT_EQ(told.count("header"), 1u);
  EXPECT_EQ(told.windows_wrong(), 0u);
  EXPECT_TRUE(told.in_order());
  EXPECT_EQ(told.lines().back(), "finish");
  // Scans 640,000 to 704,000 lie in blocks 625 to 687, of which 672 is missing.
  EXPECT_EQ(told.count("windows"), 687u - 625u + 1u - 1u);
  EXPECT_EQ(told.lines()[1], "windows 640000 641024");
  ASSERT_EQ(told.gaps().size(), 1u);
  EXPECT_EQ(told.gaps()[0].from_scan, 672 * kBlockScans);
}

TEST_F(SessionIndexTest, AStretchAfterARestartStandsAtItsSessionTime) {
  add_blocks(64);
  jig_ = JigFrames(2);
  add_blocks(128);
  write();
  const auto index = build_index(path_);
  ASSERT_TRUE(index.has_value());
  Told whole;
  ASSERT_TRUE(review_file(path_, whole).has_value());
  Told told;
  told.scan_offset = 64 * kBlockScans + 32;
  ASSERT_TRUE(review_stretch(path_, *index, 4, 5, told).has_value());
  EXPECT_EQ(told.windows_wrong(), 0u);
  EXPECT_EQ(told.count("restarted"), 0u);
  ASSERT_GE(told.lines().size(), 3u);
  EXPECT_NE(std::find(whole.lines().begin(), whole.lines().end(), told.lines()[1]), whole.lines().end());
}

TEST_F(SessionIndexTest, AStretchOutsideIsEmpty) {
  add_blocks(64);
  write();
  const auto index = build_index(path_);
  for (const auto& [from, to] : {std::pair{5u, 9u}, {1u, 1u}, {2u, 1u}}) {
    Told told;
    ASSERT_TRUE(review_stretch(path_, *index, from, to, told).has_value());
    EXPECT_EQ(told.lines().size(), 2u) << "header and finish";
  }
}

TEST_F(SessionIndexTest, ARecordingWithoutWindowsHasAnEmptyIndex) {
  write();
  const auto index = index_of(path_);
  ASSERT_TRUE(index.has_value());
  EXPECT_EQ(index->level(0).size(), 0u);
  Told told;
  EXPECT_TRUE(review_stretch(path_, *index, 0, 5, told).has_value());
}

TEST_F(SessionIndexTest, AnAbsurdJumpInTimeIsRefusedNotStored) {
  add_blocks(2);
  add(jig_.windows(std::uint64_t{1} << 60));
  write();
  const auto index = build_index(path_);
  ASSERT_FALSE(index.has_value());
  EXPECT_EQ(index.error().fault, RecordFault::kTooLarge);
}

TEST_F(SessionIndexTest, IsSmallBesideItsRecording) {
  add_blocks(32 * 60);
  write();
  ASSERT_TRUE(index_of(path_).has_value());
  EXPECT_LT(std::filesystem::file_size(SideIndex::path_of(path_)) * 100, bytes_.size());
}

}  // namespace
}  // namespace host::decode
