// SPDX-License-Identifier: Apache-2.0
// Device time against host time. A time mark is stamped when it leaves the jig and again when it arrives; the delay
// between is never negative, so the truth runs along the lower edge of the points (one-sided delay: the classic lower
// envelope of packet time stamps, e.g. Moon, Skelly and Towsley, IEEE INFOCOM 1999).
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "host/model/units.h"

namespace host::decode {

/// host time = first_host + (scan - first_scan) * seconds_per_scan, along the lower edge of the marks.
struct ClockLine {
  std::uint64_t first_scan = 0;
  model::HostTime first_host;
  double offset_s = 0;  // of the line at first_scan above first_host; not above 0
  double seconds_per_scan = 0;
  double rate_ppm = 0;       // device clock against host clock; above 0: the device runs fast
  double uncertainty_s = 0;  // how far the line misses the earliest arrival of the worst stretch of the session
};

/// Scans that may have been the present at some host time.
struct ScanInterval {
  double from_scan = 0;
  double to_scan = 0;
};

/// Fits one stretch of an undisturbed device clock. Memory is bounded: the earliest arrival of each of at most
/// kBucketsMax equal stretches is kept, and stretches double as the session grows.
class ClockFit {
 public:
  static constexpr std::size_t kBucketsMax = 512;
  /// What the line cannot see: the least delay itself. A USB full-speed bridge adds up to 1 ms frame and 1 ms latency
  /// timer (from memory, common practice; no source read).
  static constexpr double kLeastDelayMaxS = 0.002;

  explicit ClockFit(double scan_rate_hz) : scan_rate_hz_(scan_rate_hz) {}

  /// A mark stamped `scan` arrived at `arrived`. Scans must not fall; one that does is ignored.
  void add(std::uint64_t scan, model::HostTime arrived);
  std::uint64_t marks() const { return marks_; }

  /// nullopt: fewer than two marks, or less than a second between the first and the last.
  std::optional<ClockLine> line() const;
  /// Scans that the host's interval [from, to] may name: widened by the line's uncertainty and by kLeastDelayMaxS.
  std::optional<ScanInterval> scans(model::HostTime from, model::HostTime to) const;

 private:
  struct Point {
    std::uint64_t bucket = 0;
    double x = 0;  // scans since the first mark
    double y = 0;  // seconds since the first arrival, less x at the nominal rate
  };
  void merge_buckets();

  double scan_rate_hz_;
  std::uint64_t bucket_scans_ = 8000;  // a quarter of a second at 32 kS/s: one mark each at first
  std::uint64_t marks_ = 0;
  std::uint64_t first_scan_ = 0;
  std::uint64_t last_scan_ = 0;
  model::HostTime first_host_;
  std::vector<Point> points_;
};

}  // namespace host::decode
