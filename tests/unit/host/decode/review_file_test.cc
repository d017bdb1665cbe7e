// SPDX-License-Identifier: Apache-2.0
#include "host/decode/review_file.h"

#include <filesystem>
#include <fstream>

#include <unistd.h>

#include "tests/unit/host/decode/decoder_fixture.h"

namespace host::decode {
namespace {

using namespace testing_jig;

class ReviewFileTest : public testing::Test {
 protected:
  ReviewFileTest() : path_(std::filesystem::temp_directory_path() / ("review_test_" + std::to_string(::getpid()))) {}
  ~ReviewFileTest() override { std::filesystem::remove(path_); }
  void write(const Bytes& bytes) {
    std::ofstream file(path_, std::ios::binary | std::ios::trunc);
    file.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  }
  std::string path_;
};

TEST_F(ReviewFileTest, TellsWhatADecoderFedByHandTells) {
  write(small_recording());
  Told by_hand;
  Decoder decoder(by_hand);
  decoder.feed(small_recording());
  decoder.finish();
  Told told;
  const auto result = review_file(path_, told);
  ASSERT_TRUE(result.has_value());
  EXPECT_EQ(told.lines(), by_hand.lines());
  EXPECT_EQ(result->session().recording(), path_);
  EXPECT_EQ(result->session().ended(), "finished");
  EXPECT_EQ(result->coverage().scans_seen(), 12 * kBlockScans);
}

TEST_F(ReviewFileTest, ProgressIsToldAndMayStopIt) {
  JigFrames jig;
  Bytes bytes = header_note();
  while (bytes.size() < 20u << 20) {
    const Bytes frame = jig.windows(jig.sequence() * kBlockScans);
    bytes.insert(bytes.end(), frame.begin(), frame.end());
  }
  write(bytes);
  std::vector<std::uint64_t> done;
  Told told;
  ASSERT_TRUE(review_file(path_, told, [&](std::uint64_t bytes_done, std::uint64_t all) {
                EXPECT_EQ(all, bytes.size());
                done.push_back(bytes_done);
                return done.size() < 2;
              }).has_value());
  ASSERT_EQ(done.size(), 2u);
  EXPECT_EQ(done[1], std::uint64_t{8} << 20);
  EXPECT_EQ(told.lines().back(), "finish");
}

TEST_F(ReviewFileTest, WhatIsNoRecordingIsAnErrorAndTellsNothing) {
  write(Bytes(5000, std::byte{'x'}));
  Told told;
  const auto result = review_file(path_, told);
  ASSERT_FALSE(result.has_value());
  EXPECT_EQ(result.error().fault, record::RecordFault::kForeign);
  EXPECT_TRUE(told.lines().empty());
}

}  // namespace
}  // namespace host::decode
