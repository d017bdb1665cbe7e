// SPDX-License-Identifier: Apache-2.0
#include "host/record/reader.h"

#include <filesystem>
#include <fstream>

#include <gtest/gtest.h>
#include <unistd.h>

#include "tests/simulation/jig_frames.h"

namespace host::record {
namespace {

using testing_jig::Bytes;
using testing_jig::JigFrames;
using testing_jig::join;

class ReaderTest : public testing::Test {
 protected:
  ReaderTest() : path_(std::filesystem::temp_directory_path() / ("reader_test_" + std::to_string(::getpid()))) {}
  ~ReaderTest() override { std::filesystem::remove_all(path_); }

  void write(const Bytes& bytes) {
    std::ofstream file(path_, std::ios::binary | std::ios::trunc);
    file.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  }
  RecordFault fault() {
    const auto reader = Reader::open(path_);
    EXPECT_FALSE(reader.has_value());
    EXPECT_TRUE(reader.error().message.starts_with(path_.string() + ": ")) << reader.error().message;
    return reader.error().fault;
  }

  std::filesystem::path path_;
};

TEST_F(ReaderTest, GivesTheFileFromItsFirstByteInChunks) {
  JigFrames jig;
  Bytes bytes = testing_jig::header_note();
  for (std::uint64_t block = 0; block < 3000; ++block) {
    const Bytes frame = jig.windows(block * 1024);
    bytes.insert(bytes.end(), frame.begin(), frame.end());
  }
  ASSERT_GT(bytes.size(), std::size_t{1} << 20) << "more than one chunk";
  write(bytes);
  auto reader = Reader::open(path_);
  ASSERT_TRUE(reader.has_value());
  EXPECT_EQ(reader->bytes(), bytes.size());
  EXPECT_EQ(reader->header().jig().scan_rate_hz(), 32'000u);
  Bytes read;
  for (auto chunk = reader->next(); chunk && !chunk->empty(); chunk = reader->next()) {
    read.insert(read.end(), chunk->begin(), chunk->end());
  }
  EXPECT_EQ(read, bytes);
}

TEST_F(ReaderTest, OpensWhateverIsCutBehindTheHeader) {
  JigFrames jig;
  const Bytes bytes = join({testing_jig::header_note(), jig.hello(), jig.windows(0)});
  const std::size_t header_bytes = testing_jig::header_note().size();
  write(bytes);
  for (std::size_t cut = bytes.size() + 1; cut-- > 0;) {
    std::filesystem::resize_file(path_, cut);
    const auto reader = Reader::open(path_);
    ASSERT_EQ(reader.has_value(), cut >= header_bytes) << cut;
    if (!reader) {
      ASSERT_EQ(reader.error().fault, cut == 0 ? RecordFault::kEmpty : RecordFault::kForeign);
    }
  }
}

TEST_F(ReaderTest, RefusesWhatIsNoRecording) {
  EXPECT_EQ(fault(), RecordFault::kNotThere);
  write({});
  EXPECT_EQ(fault(), RecordFault::kEmpty);
  write(Bytes(100'000, std::byte{0x20}));
  EXPECT_EQ(fault(), RecordFault::kForeign);
  write(Bytes(100, std::byte{0}));
  EXPECT_EQ(fault(), RecordFault::kForeign);
  JigFrames jig;
  write(jig.hello());
  EXPECT_EQ(fault(), RecordFault::kForeign) << "a jig's frames without a header";
  write(testing_jig::closing_note("finished"));
  EXPECT_EQ(fault(), RecordFault::kForeign) << "a note, but not the header";
  std::filesystem::remove(path_);
  std::filesystem::create_directory(path_);
  EXPECT_EQ(fault(), RecordFault::kForeign) << "a folder";
}

TEST_F(ReaderTest, RefusesAFormatItDoesNotKnowAndNamesBoth) {
  steadyrail::proto::HostNote note;
  note.mutable_header()->set_format_version(2);
  note.mutable_header()->set_host_version("9.9");
  write(testing_jig::note(note));
  const auto reader = Reader::open(path_);
  ASSERT_FALSE(reader.has_value());
  EXPECT_EQ(reader.error().fault, RecordFault::kVersion);
  EXPECT_EQ(reader.error().message,
            path_.string() + ": recording format 2, written by version 9.9; this program reads format 1");
}

TEST_F(ReaderTest, AFlippedBitInTheHeaderIsNoticed) {
  const Bytes bytes = testing_jig::header_note();
  for (std::size_t at = 0; at < bytes.size(); ++at) {
    Bytes damaged = bytes;
    damaged[at] ^= std::byte{16};
    write(damaged);
    EXPECT_EQ(fault(), RecordFault::kForeign) << at;
  }
}

}  // namespace
}  // namespace host::record
