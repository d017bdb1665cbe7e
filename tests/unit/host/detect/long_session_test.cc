// SPDX-License-Identifier: Apache-2.0
// Hours of a session, and a storm in which every second scan lies beyond a limit: neither the detectors' memory nor the
// report may grow with them, and what is not listed is counted. Nothing here looks at a clock.
#include <malloc.h>

#include <cmath>
#include <cstdio>
#include <memory>

#include <gtest/gtest.h>

#include "host/detect/arm.h"
#include "host/detect/review.h"
#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

constexpr std::uint64_t kRate = 32000;
constexpr std::uint64_t kSecond = kRate;

/// Keeps the batches of a second, to hand them over again and again, each time later.
class Second : public decode::Sink {
 public:
  void windows(const decode::WindowBatch& batch) override {
    kept_.push_back({batch, std::make_unique<wire::DecodedWindows>(*batch.windows)});
  }
  void replay(decode::Sink& sink, std::uint64_t second) const {
    for (const auto& [batch, windows] : kept_) {
      decode::WindowBatch later = batch;
      later.first_scan += second * kSecond;
      later.windows = windows.get();
      sink.windows(later);
    }
  }

 private:
  std::vector<std::pair<decode::WindowBatch, std::unique_ptr<wire::DecodedWindows>>> kept_;
};

std::size_t live_bytes() {
  const auto info = mallinfo2();
  return info.uordblks + info.hblkhd;  // big blocks are mapped on their own
}

Event settled_event(std::uint64_t scan, double before_v, double after_v, std::uint32_t id) {
  Event event;
  auto* means = event.mutable_settled();
  means->set_step_id(id);
  means->set_before_scan(scan - 32);
  means->set_after_scan(scan + 160);
  for (std::size_t i = 0; i < kChannels; ++i) {
    means->add_before_code_8(static_cast<int>(std::lround((before_v - 9.8) / 3e-4 * 8)));
    means->add_after_code_8(static_cast<int>(std::lround((after_v - 9.8) / 3e-4 * 8)));
  }
  return event;
}

Event excursion_event(std::uint64_t scan, std::size_t channel) {
  Event event;
  auto* excursion = event.mutable_excursion();
  excursion->set_channel(static_cast<std::uint32_t>(channel));
  excursion->set_side(SIDE_LOW);
  excursion->set_armed_set(kArmedSet);
  excursion->set_start_scan(scan);
  excursion->set_end_scan(scan + 20);
  excursion->set_extreme_scan(scan + 5);
  excursion->set_extreme_code(3000);
  excursion->set_area_code_scans(20000);
  return event;
}

RecordingHeader armed_header() {
  RecordingHeader header = test_header("test-edition");
  header.set_limits_sha256("armed");
  return header;
}

ReviewOptions armed_options() {
  return {.limits = test_limits(), .limits_sha256 = "armed", .unit = {}, .events_listed_max = 500};
}

/// A second of a game on 8 ms windows: the load comes and goes, with a dip below the limit and a sag.
class Game {
 public:
  Game() : levels_(kSecond) {
    for (std::size_t at = 4000; at + 2000 < kSecond; at += 8000) {
      levels_.set(kGraphicsA, at, at + 2000, 25);
      levels_.set(kGraphics, at, at + 2000, 11.8);
      levels_.set(kGraphics, at + 3, at + 23, 10.7);
    }
    levels_.windows(second_, 0, kSecond, 0, 256, kArmedSet);
  }
  void play(Review& review, std::uint64_t second) const {
    const std::uint64_t origin = second * kSecond;
    for (std::uint32_t k = 0; k < 4; ++k) {
      const std::uint64_t at = origin + 4000 + 8000 * k;
      const auto id = static_cast<std::uint32_t>(2 * (second * 4 + k));
      review.event(load_step(at, 20, id));
      review.event(settled_event(at, 12, 11.8, id));
      review.event(excursion_event(at + 3, kGraphics));
      review.event(load_step(at + 2000, -20, id + 1));
      review.event(settled_event(at + 2000, 11.8, 12, id + 1));
    }
    second_.replay(review, second);
  }

 private:
  Levels levels_;
  Second second_;
};

TEST(LongSessionTest, FourHoursTakeNoMoreMemoryThanOne) {
  const Game game;
  Review review(armed_options());
  review.header(armed_header());
  const std::size_t before = live_bytes();
  std::uint64_t second = 0;
  const auto play_to = [&](std::uint64_t end) {
    for (; second < end; ++second) game.play(review, second);
    return static_cast<double>(live_bytes() - before) / (1024 * 1024);
  };
  const double one_h = play_to(3600);
  const double four_h = play_to(4 * 3600);
  std::printf("detectors hold %.2f MiB after 1 h, %.2f MiB after 4 h\n", one_h, four_h);
  // The record of load and events for the odds of a lock-up fills up to its bound; nothing else may grow.
  EXPECT_LT(four_h - one_h, 3);
  EXPECT_LT(four_h, 16);
  review.finish();
  const auto count = count_of(review.result(), EVENT_KIND_EXCURSION, "graphics-1");
  EXPECT_EQ(count.listed() + count.counted(), 4U * 3600 * 4);
  EXPECT_EQ(count.listed(), 500U);
}

/// Every second scan beyond both limits of every rail; the chip tells fifty a second and counts the rest.
struct Storm {
  Storm() : levels(kSecond) {
    for (std::size_t channel : {kGraphics, kMain, kFive, kStandby}) {
      auto& volts = levels.of(channel);
      const bool twelve = channel == kGraphics || channel == kMain;
      for (std::size_t scan = 0; scan < volts.size(); ++scan) {
        const bool beyond = scan % 2 == 0;
        const double low = twelve ? 10.9 : 4.5;
        const double high = twelve ? 12.9 : 5.5;
        volts[scan] = beyond ? (scan % 4 == 0 ? low : high) : (twelve ? 12.0 : 5.0);
      }
    }
    levels.windows(second, 0, kSecond, 0, 256, kArmedSet, &limits);
  }
  void play(Review& review, std::uint64_t index) const {
    const std::uint64_t origin = index * kSecond;
    for (std::uint32_t k = 0; k < 50; ++k) review.event(excursion_event(origin + 640 * k, kGraphics));
    for (std::size_t channel : {kGraphics, kMain, kFive, kStandby}) {
      for (Side side : {SIDE_LOW, SIDE_HIGH}) {
        Event event;
        auto* storm = event.mutable_storm();
        storm->set_channel(static_cast<std::uint32_t>(channel));
        storm->set_side(side);
        storm->set_excursions(kCounted);
        storm->set_first_scan(origin);
        storm->set_last_scan(origin + kSecond - 1);
        storm->set_extreme_code(side == SIDE_LOW ? -20000 : 20000);
        storm->set_scans_beyond(kCounted);
        review.event(event);
      }
    }
    second.replay(review, index);
  }
  static constexpr std::uint32_t kCounted = 8000;
  LimitSet limits = test_limits();
  Levels levels;
  Second second;
};

TEST(LongSessionTest, StormIsBoundedInMemoryAndReportAndLosesNoCount) {
  const Storm storm;
  std::size_t report_bytes[2] = {};
  double held_mib[2] = {};
  for (const int longer : {0, 1}) {
    const std::uint64_t seconds = longer == 0 ? 7200 : 28800;
    Review review(armed_options());
    review.header(armed_header());
    const std::size_t before = live_bytes();
    for (std::uint64_t second = 0; second < seconds; ++second) storm.play(review, second);
    held_mib[longer] = static_cast<double>(live_bytes() - before) / (1024 * 1024);
    review.finish();
    const SessionResult result = review.result();
    report_bytes[longer] = result.ByteSizeLong();
    const auto main = count_of(result, EVENT_KIND_EXCURSION, "main-12v");
    // Both sides' storms, each an event; and one run of windows a side, which the chip has told of.
    EXPECT_EQ(main.listed() + main.counted(), 2 * seconds * Storm::kCounted);
    const auto graphics = count_of(result, EVENT_KIND_EXCURSION, "graphics-1");
    EXPECT_EQ(graphics.listed() + graphics.counted(), 2 * seconds * Storm::kCounted + 50 * seconds);
    EXPECT_LE(graphics.listed(), 500U);
  }
  std::printf("storm: %.2f MiB and a report of %zu kB after 2 h, %.2f MiB and %zu kB after 8 h\n", held_mib[0],
              report_bytes[0] / 1024, held_mib[1], report_bytes[1] / 1024);
  EXPECT_LT(held_mib[1] - held_mib[0], 3);
  EXPECT_LT(report_bytes[1], report_bytes[0] + report_bytes[0] / 50);
}

}  // namespace
}  // namespace host::detect
