// SPDX-License-Identifier: Apache-2.0
// Golden bytes, edited at random: every decoder refuses or answers in range. Bytes lie in buffers of exactly their
// size, so that a sanitizer sees a read beyond.
#include <gtest/gtest.h>

#include <algorithm>
#include <memory>

#include "proto/wire/capture_codec.h"
#include "proto/wire/frame.h"
#include "proto/wire/window_codec.h"
#include "tests/unit/proto/wire/golden.h"

namespace wire {
namespace {

constexpr int kRounds = 3000;  // of each golden line

/// One to eight edits: a bit flipped, a byte set, lost or doubled, a stretch of another line spliced in.
Bytes edited(Bytes bytes, const Bytes& other, std::mt19937& random) {
  for (unsigned edits = 1 + random() % 8; edits > 0 && !bytes.empty(); --edits) {
    const auto at = bytes.begin() + static_cast<std::ptrdiff_t>(random() % bytes.size());
    const auto from = other.begin() + static_cast<std::ptrdiff_t>(random() % other.size());
    switch (random() % 5) {
      case 0:
        *at ^= std::byte{1} << random() % 8;
        break;
      case 1:
        *at = static_cast<std::byte>(random());
        break;
      case 2:
        bytes.erase(at);
        break;
      case 3:
        bytes.insert(at, *at);
        break;
      default:
        bytes.insert(at, from, std::min(other.end(), from + static_cast<std::ptrdiff_t>(random() % 40)));
    }
  }
  return bytes;
}

class MutationTest : public testing::Test {
 protected:
  /// Calls `decode` with edited bytes of every line of `file` whose given part begins with `kind`.
  template <typename Decode>
  void edit_all(const std::string& file, const std::string& kind, const Decode& decode) {
    const auto lines = read_golden(file);
    ASSERT_FALSE(lines.empty());
    for (std::size_t k = 0; k < lines.size(); ++k) {
      if (!lines[k].given.starts_with(kind)) continue;
      for (int round = 0; round < kRounds; ++round) {
        const Bytes bytes = edited(lines[k].hex, lines[(k + 1) % lines.size()].hex, random_);
        const auto exact = std::make_unique<std::byte[]>(bytes.size());
        std::ranges::copy(bytes, exact.get());
        ASSERT_NO_FATAL_FAILURE(decode(lines[k], std::span<const std::byte>(exact.get(), bytes.size())))
            << lines[k].name << " round " << round;
      }
    }
  }

  std::mt19937 random_{20260101};
  std::size_t accepted_ = 0;
};

TEST_F(MutationTest, WindowBodiesAreRefusedOrInRange) {
  const auto back = std::make_unique<DecodedWindows>();
  edit_all("bodies.hex", "windows ", [&](const GoldenLine& line, std::span<const std::byte> body) {
    const std::uint32_t scans = golden_number(line.given, "scans_per_window");
    const std::uint32_t count = golden_number(line.given, "window_count");
    if (!decode_windows(body, scans, count, *back)) return;
    ++accepted_;
    for (const DecodedColumns& columns : back->channels) {
      for (std::size_t k = 0; k < count; ++k) {
        ASSERT_LE(columns.min[k] * 8, columns.mean_8[k]);
        ASSERT_GE(columns.max[k], columns.mean_8[k] >> 3);
        ASSERT_GE(columns.variance[k], 0.0F);
        ASSERT_LE(columns.variance[k], 1.1e9F);  // above any 16-bit variance, 2^30
        ASSERT_LE(columns.below[k], scans);
        ASSERT_LE(columns.above[k], scans);
      }
    }
  });
  EXPECT_GT(accepted_, 0U) << "nothing got as far as the ranges";
}

TEST_F(MutationTest, CaptureBodiesAreRefusedOrWhole) {
  edit_all("bodies.hex", "capture ", [&](const GoldenLine& line, std::span<const std::byte> body) {
    constexpr std::int16_t kUntouched = 12345;
    std::vector<std::array<std::int16_t, kCaptureScansMax>> back(kChannelCount + 1);
    back.back().fill(kUntouched);
    const auto channels = static_cast<std::size_t>(std::popcount(golden_number(line.given, "channel_mask")));
    const std::uint32_t scans = golden_number(line.given, "scan_count");
    accepted_ += decode_capture(body, channels, scans, std::span(back).first(kChannelCount)).has_value();
    ASSERT_EQ(std::ranges::count(back.back(), kUntouched), kCaptureScansMax);
  });
  EXPECT_GT(accepted_, 0U);
}

// A checksum of 32 bits lets one damaged frame in 2^32 pass; with these seeds none does.
TEST_F(MutationTest, FramesAreRefusedUnlessTheEditsUndidThemselves) {
  for (const char* file : {"frames.hex", "commands.hex", "notes.hex"}) {
    edit_all(file, "", [&](const GoldenLine& line, std::span<const std::byte> bytes) {
      FrameReceiver<kPayloadBytesMax> receiver;
      receiver.push(kDelimiter);
      for (const std::byte b : bytes) {
        if (!receiver.push(b)) continue;
        ++accepted_;
        Bytes frame(kFrameBytesMax);
        frame.resize(encode_frame(receiver.payload(), frame));
        bool known = false;
        for (const GoldenLine& other : read_golden(file)) known = known || other.hex == frame;
        ASSERT_TRUE(known) << line.name << ": " << to_hex(frame);
      }
    });
  }
  EXPECT_GT(accepted_, 0U);
}

}  // namespace
}  // namespace wire
