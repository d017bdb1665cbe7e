// SPDX-License-Identifier: Apache-2.0
// Recording on a disk that fills up, and perhaps empties again, at any moment.
#include <random>

#include <gtest/gtest.h>

#include "host/decode/decoder.h"
#include "host/record/stream_file.h"
#include "tests/simulation/fault_output.h"
#include "tests/simulation/seeds.h"
#include "tests/simulation/told.h"

namespace testing_jig {
namespace {

using namespace steadyrail::proto;

constexpr std::uint64_t kBlockScans = 1024;
constexpr std::uint64_t kBlocks = 120;

/// What one seed does to the disk: limits that come and go while a session is written.
class DiskFaults {
 public:
  explicit DiskFaults(std::uint64_t seed) : random_(seed) {}

  /// Before each piece of the wire. True: about a second has passed, the writer would look for space.
  bool step(Disk& disk) {
    const std::uint64_t choice = random_() % 100;
    if (choice < 4) disk.allow(disk.content().size() + random_() % 6000);
    if (choice >= 96) disk.allow(UINT64_MAX);
    return random_() % 8 == 0;
  }
  std::uint64_t below(std::uint64_t end) { return random_() % end; }

 private:
  std::mt19937_64 random_;
};

Bytes session_bytes() {
  JigFrames jig;
  Bytes bytes = join({jig.hello(), jig.acknowledgement(1, 0), jig.status(0, true)});
  for (std::uint64_t block = 0; block < kBlocks; ++block) {
    const Bytes frame = jig.windows(block * kBlockScans);
    bytes.insert(bytes.end(), frame.begin(), frame.end());
  }
  const Bytes last = jig.status(kBlocks * kBlockScans, false);
  bytes.insert(bytes.end(), last.begin(), last.end());
  return bytes;
}

TEST(DiskFaultsTest, WhatStandsIsWholeAndWhatIsMissingIsSaid) {
  const Bytes wire = session_bytes();
  std::uint64_t sessions_with_loss = 0;
  for (std::uint64_t seed = 1; seed <= seeds(150); ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    DiskFaults faults(seed);
    const auto disk = std::make_shared<Disk>();
    host::record::StreamFile file(output_on(disk));
    file.note(header_note());
    file.note(port_note(PORT_STATE_OPENED));
    for (std::size_t at = 0; at < wire.size();) {
      const std::size_t piece = std::min<std::size_t>(1 + faults.below(6000), wire.size() - at);
      if (faults.step(*disk)) file.retry();
      file.wire(std::span(wire).subspan(at, piece));
      if (faults.below(10) == 0) file.note(received_note(at));
      at += piece;
    }
    const bool whole = file.close(closing_note("finished"));
    const Bytes content = disk->content();
    ASSERT_EQ(file.bytes(), content.size());
    ASSERT_EQ(content.back(), std::byte{0});
    Told told;
    host::decode::Decoder decoder(told);
    decoder.feed(content);
    decoder.finish();
    const Coverage coverage = decoder.coverage();
    ASSERT_TRUE(told.in_order());
    ASSERT_EQ(told.windows_wrong(), 0u);
    ASSERT_EQ(coverage.bytes_discarded(), 0u) << "a frame was cut in the file";
    ASSERT_LE(coverage.scans_expected(), kBlocks * kBlockScans);
    if (file.bytes_lost() == 0) {
      ASSERT_TRUE(whole);
      ASSERT_EQ(coverage.scans_seen(), kBlocks * kBlockScans);
      continue;
    }
    ++sessions_with_loss;
    if (whole) {
      ASSERT_GE(told.count("note lost"), 1u);
      ASSERT_EQ(told.count("note closing"), 1u);
    }
    for (const auto& gap : told.gaps()) ASSERT_EQ(gap.cause, LOSS_CAUSE_DISK_FULL);
  }
  EXPECT_GT(sessions_with_loss, 20u) << "the faults must do harm for this test to mean anything";
}

}  // namespace
}  // namespace testing_jig
