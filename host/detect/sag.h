// SPDX-License-Identifier: Apache-2.0
// Sags: departures from the rail's own recent level, inside the tolerance too. The words "retained voltage" and
// "sliding reference" are those of IEC 61000-4-30 (from memory), which defines them for a.c. mains; their use on d.c.
// is ours.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <vector>

namespace host::detect {

inline constexpr double kSagStartShare = 0.02;  // below the reference; own choice
inline constexpr double kSagEndShare = 0.015;
inline constexpr double kSagReferenceS = 1;  // time constant of the reference
inline constexpr double kSagFreezeS = 0.1;   // the reference stands still this long after a sag
inline constexpr double kSagNewLevelS = 10;  // longer the reference never stands still: what is then is the new level

/// Share by which a reference with time constant `tau_s` follows a level that lasted `elapsed_s`.
double follow_share(double elapsed_s, double tau_s);

/// [start, end) in scans.
struct ScanSag {
  std::uint64_t start = 0;
  std::uint64_t end = 0;
  double reference = 0;  // frozen when it began
  double least = 0;
  std::uint64_t at = 0;
  bool truncated = false;
  bool new_level = false;
  double retained() const { return least / reference; }
  double depth() const { return 1 - retained(); }
};

/// The sliding reference with its freeze, fed level by level of any duration: scans or windows.
class SagTracker {
 public:
  explicit SagTracker(double scan_rate_hz) : scan_rate_hz_(scan_rate_hz) {}

  /// `least` and `mean` of `scans` scans from `start` on (equal for a single scan), V, above 0.
  std::optional<ScanSag> add(std::uint64_t start, std::uint32_t scans, double least, double mean);
  /// A quiet stretch: nothing below the start threshold, no sag open.
  void follow(std::uint64_t scans, double mean);
  bool quiet(double least) const;
  /// A hole: ends what is open, truncated; the reference stays.
  std::optional<ScanSag> cut();
  /// The next level begins a new reference.
  void forget();
  /// Moves the reference, for a caller whose correction changed.
  void shift(double volts);
  double reference() const { return reference_; }
  bool open() const { return open_.has_value(); }

 private:
  void remember(std::uint64_t scans, double mean);
  bool stands_too_long(std::uint32_t scans);
  double recent_median() const;
  std::optional<ScanSag> close(std::uint64_t end);

  double scan_rate_hz_;
  bool seeded_ = false;
  double reference_ = 0;
  std::uint64_t frozen_scans_ = 0;  // still to stand still
  std::uint64_t stood_scans_ = 0;   // stood still without a break, in sags and after them
  std::optional<ScanSag> open_;
  struct Part {
    std::uint64_t scans;
    double mean;
  };
  std::deque<Part> recent_;  // the last second of what it stood still for
  std::uint64_t recent_scans_ = 0;
};

}  // namespace host::detect
