// SPDX-License-Identifier: Apache-2.0
#include "host/record/writer.h"

#include <cerrno>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <thread>

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <unistd.h>

#include "host/decode/decoder.h"
#include "host/record/reader.h"
#include "tests/simulation/fault_output.h"
#include "tests/simulation/told.h"

namespace host::record {
namespace {

using namespace std::chrono_literals;
using testing_jig::Bytes;
using testing_jig::Disk;
using testing_jig::JigFrames;
using testing_jig::join;
using testing_jig::Told;

constexpr std::uint64_t kBlockScans = 1024;

class WriterTest : public testing::Test {
 protected:
  WriterTest() : folder_(std::filesystem::temp_directory_path() / ("writer_test_" + std::to_string(::getpid()))) {
    std::filesystem::create_directories(folder_);
  }
  ~WriterTest() override { std::filesystem::remove_all(folder_); }

  std::string path(const std::string& name) const { return folder_ / name; }
  static Bytes content(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    const std::string text{std::istreambuf_iterator<char>(file), {}};
    const auto bytes = std::as_bytes(std::span(text));
    return {bytes.begin(), bytes.end()};
  }
  static steadyrail::proto::HostNote mark(const std::string& words) {
    steadyrail::proto::HostNote note;
    note.mutable_mark()->set_words(words);
    return note;
  }
  static void wait_until(const auto& done) {
    const auto until = std::chrono::steady_clock::now() + 10s;
    while (!done() && std::chrono::steady_clock::now() < until) std::this_thread::sleep_for(5ms);
    ASSERT_TRUE(done());
  }
  static Told tell(const Bytes& bytes) {
    Told told;
    decode::Decoder decoder(told);
    decoder.feed(bytes);
    decoder.finish();
    EXPECT_EQ(decoder.counts().damaged, 0u) << "what stands in a recording is whole";
    EXPECT_EQ(decoder.counts().bytes_cut, 0u);
    return told;
  }

  std::filesystem::path folder_;
  steadyrail::proto::RecordingHeader header_;
  JigFrames jig_;
};

TEST_F(WriterTest, WritesHeaderWireAndClosingByteForByte) {
  header_.set_question("freezes in games");
  auto writer = Writer::create(path("a"), header_);
  ASSERT_TRUE(writer.has_value());
  const Bytes wire = join({jig_.hello(), jig_.windows(0), jig_.windows(kBlockScans)});
  for (const std::byte& byte : wire) (*writer)->append({&byte, 1});
  const auto closed = (*writer)->close("finished", model::HostTime{});
  ASSERT_TRUE(closed.has_value()) << closed.error().message;
  const Bytes file = content(path("a"));
  EXPECT_EQ(closed->bytes, file.size());
  EXPECT_EQ(closed->bytes_lost, 0u);
  steadyrail::proto::HostNote header;
  *header.mutable_header() = (*writer)->header();
  EXPECT_EQ(header.header().question(), "freezes in games");
  EXPECT_EQ(file, join({testing_jig::note(header), wire, testing_jig::closing_note("finished")}));
}

TEST_F(WriterTest, NotesWaitForTheEndOfAFrame) {
  const auto disk = std::make_shared<Disk>();
  auto writer = Writer::create(output_on(disk), header_);
  const Bytes header = disk->content();
  const Bytes frame = jig_.windows(0);
  (*writer)->append(std::span(frame).first(100));
  (*writer)->note(mark("inside"));
  (*writer)->append(std::span(frame).subspan(100));
  (*writer)->note(mark("between"));
  ASSERT_TRUE((*writer)->close("finished", model::HostTime{}).has_value());
  EXPECT_EQ(disk->content(), join({header, frame, testing_jig::note(mark("inside")), testing_jig::note(mark("between")),
                                   testing_jig::closing_note("finished")}));
}

TEST_F(WriterTest, AnUnfinishedFrameIsEndedBeforeTheClosingNote) {
  const auto disk = std::make_shared<Disk>();
  auto writer = Writer::create(output_on(disk), header_);
  const Bytes header = disk->content();
  const Bytes frame = jig_.windows(0);
  const Bytes half(frame.begin(), frame.begin() + 100);
  (*writer)->append(half);
  (*writer)->note(mark("late"));
  ASSERT_TRUE((*writer)->close("interrupted", model::HostTime{}).has_value());
  EXPECT_EQ(
      disk->content(),
      join({header, half, {std::byte{0}}, testing_jig::note(mark("late")), testing_jig::closing_note("interrupted")}));
}

TEST_F(WriterTest, ReachesTheDiskWithinASecondAndAHalf) {
  const auto disk = std::make_shared<Disk>();
  auto writer = Writer::create(output_on(disk), header_);
  const Bytes frame = jig_.windows(0);
  (*writer)->append(frame);
  const auto began = std::chrono::steady_clock::now();
  wait_until([&] {
    const std::lock_guard lock(disk->mutex);
    return disk->syncs > 0 && disk->file.size() > frame.size();
  });
  EXPECT_LT(std::chrono::steady_clock::now() - began, 1500ms);
  ASSERT_TRUE((*writer)->close("finished", model::HostTime{}).has_value());
}

TEST_F(WriterTest, AFullDiskCutsToTheEndOfAFrameAndCountsTheLoss) {
  const auto disk = std::make_shared<Disk>();
  auto writer = Writer::create(output_on(disk), header_);
  const std::size_t header_bytes = disk->content().size();
  const Bytes first = jig_.windows(0);
  const Bytes second = jig_.windows(kBlockScans);
  disk->allow(header_bytes + first.size() + second.size() / 2);
  (*writer)->append(first);
  wait_until([&] { return (*writer)->bytes_written() == header_bytes + first.size(); });
  (*writer)->append(second);
  wait_until([&] { return (*writer)->bytes_lost() != 0; });
  EXPECT_EQ((*writer)->bytes_lost(), second.size());
  EXPECT_EQ(disk->content().size(), header_bytes + first.size());
  const auto closed = (*writer)->close("disk-full", model::HostTime{});
  ASSERT_FALSE(closed.has_value());
  EXPECT_EQ(closed.error().fault, RecordFault::kDiskFull);
  EXPECT_NE(closed.error().message.find("the disk was full"), std::string::npos);
  // Lost and Closing found room in what the cut had freed.
  const Told told = tell(disk->content());
  EXPECT_EQ(told.count("windows"), 1u);
  EXPECT_EQ(told.count("note lost { bytes: " + std::to_string(second.size()) + " cause: \"disk-full\" }"), 1u);
  EXPECT_EQ(told.count("note closing"), 1u);
}

TEST_F(WriterTest, GoesOnAtTheStartOfAFrameWhenSpaceReturns) {
  const auto disk = std::make_shared<Disk>();
  auto writer = Writer::create(output_on(disk), header_);
  (*writer)->append(jig_.windows(0));
  wait_until([&] { return disk->content().size() > 1000; });
  disk->allow(disk->content().size() + StreamFile::kReserveBytes + 10);
  (*writer)->append(jig_.windows(kBlockScans));
  const Bytes third = jig_.windows(2 * kBlockScans);
  (*writer)->append(std::span(third).first(200));
  wait_until([&] { return (*writer)->bytes_lost() > 200; });
  disk->allow(std::uint64_t{100} << 20);
  // Space is looked for once a second; the rest of the third frame has lost its start by then.
  std::this_thread::sleep_for(2500ms);
  (*writer)->append(std::span(third).subspan(200));
  (*writer)->append(jig_.windows(3 * kBlockScans));
  const auto closed = (*writer)->close("finished", model::HostTime{});
  ASSERT_FALSE(closed.has_value()) << "bytes are missing, so the user must hear of it";
  const Told told = tell(disk->content());
  EXPECT_EQ(told.count("windows"), 2u);
  ASSERT_EQ(told.gaps().size(), 1u);
  EXPECT_EQ(told.gaps()[0].cause, steadyrail::proto::LOSS_CAUSE_DISK_FULL);
  EXPECT_EQ(told.gaps()[0].to_scan, 3 * kBlockScans);
  EXPECT_EQ(told.count("note closing"), 1u);
}

TEST_F(WriterTest, ADiskFullAtAnyByteLeavesAWholeRecording) {
  const Bytes wire = join({jig_.hello(), jig_.windows(0), jig_.time_mark(5), jig_.windows(kBlockScans),
                           jig_.status(2 * kBlockScans, true), jig_.windows(2 * kBlockScans)});
  const auto probe = std::make_shared<Disk>();
  std::size_t header_bytes = 0;
  {
    auto writer = Writer::create(output_on(probe), header_);
    header_bytes = probe->content().size();
  }
  for (std::size_t room = 0; room <= wire.size(); room += 13) {
    const auto disk = std::make_shared<Disk>();
    auto writer = Writer::create(output_on(disk), header_);
    disk->allow(header_bytes + room);
    (*writer)->append(wire);
    (void)(*writer)->close("finished", model::HostTime{});
    const Bytes file = disk->content();
    ASSERT_LE(file.size(), header_bytes + room);
    ASSERT_EQ(file.back(), std::byte{0}) << room;
    const Told told = tell(file);
    ASSERT_EQ(told.windows_wrong(), 0u);
  }
}

TEST_F(WriterTest, AFileSizeLimitCountsAsAFullDisk) {
  // A real file and the system's own refusal. The signal is part of this limit, not of a full disk.
  const auto before = std::signal(SIGXFSZ, SIG_IGN);
  rlimit limit{};
  ::getrlimit(RLIMIT_FSIZE, &limit);
  const rlimit small{20'000, limit.rlim_max};
  auto writer = Writer::create(path("limited"), header_);
  ASSERT_TRUE(writer.has_value());
  ::setrlimit(RLIMIT_FSIZE, &small);
  for (std::uint64_t block = 0; block < 30; ++block) (*writer)->append(jig_.windows(block * kBlockScans));
  const auto closed = (*writer)->close("finished", model::HostTime{});
  ::setrlimit(RLIMIT_FSIZE, &limit);
  std::signal(SIGXFSZ, before);
  ASSERT_FALSE(closed.has_value());
  EXPECT_EQ(closed.error().fault, RecordFault::kDiskFull);
  const Bytes file = content(path("limited"));
  EXPECT_LE(file.size(), 20'000u);
  const Told told = tell(file);
  EXPECT_EQ(told.count("note closing"), 1u);
  EXPECT_EQ(told.windows_wrong(), 0u);
}

TEST_F(WriterTest, ADiskThatFailsIsNamedWithItsReason) {
  const auto disk = std::make_shared<Disk>();
  auto writer = Writer::create(output_on(disk), header_);
  {
    const std::lock_guard lock(disk->mutex);
    disk->fault = EIO;
  }
  (*writer)->append(jig_.windows(0));
  const auto closed = (*writer)->close("finished", model::HostTime{});
  ASSERT_FALSE(closed.has_value());
  EXPECT_EQ(closed.error().fault, RecordFault::kIo);
  EXPECT_NE(closed.error().message.find("Input/output error"), std::string::npos);
}

TEST_F(WriterTest, NeverWritesOverAFile) {
  ASSERT_TRUE(Writer::create(path("b"), header_).has_value());
  const auto again = Writer::create(path("b"), header_);
  ASSERT_FALSE(again.has_value());
  EXPECT_EQ(again.error().fault, RecordFault::kExists);
  EXPECT_EQ(again.error().message,
            path("b") + ": cannot create the recording: it exists already, and a recording is never written over");
}

TEST_F(WriterTest, SaysWhyAFileCannotBeCreated) {
  const auto nowhere = Writer::create(path("no/such/folder"), header_);
  ASSERT_FALSE(nowhere.has_value());
  EXPECT_EQ(nowhere.error().fault, RecordFault::kNotThere);
  const auto system = Writer::create("/proc/steadyrail", header_);
  ASSERT_FALSE(system.has_value());
}

TEST_F(WriterTest, AHeaderThatCannotBeWrittenOrIsTooLargeLeavesNoFile) {
  const auto disk = std::make_shared<Disk>();
  disk->allow(10);
  const auto full = Writer::create(output_on(disk), header_);
  ASSERT_FALSE(full.has_value());
  EXPECT_EQ(full.error().fault, RecordFault::kDiskFull);
  EXPECT_TRUE(disk->removed);
  header_.set_question(std::string(9000, 'x'));
  const auto large = Writer::create(path("large"), header_);
  ASSERT_FALSE(large.has_value());
  EXPECT_EQ(large.error().fault, RecordFault::kTooLarge);
  EXPECT_FALSE(std::filesystem::exists(path("large")));
}

TEST_F(WriterTest, DiscardRemovesTheFile) {
  auto writer = Writer::create(path("c"), header_);
  (*writer)->discard();
  EXPECT_FALSE(std::filesystem::exists(path("c")));
}

}  // namespace
}  // namespace host::record
