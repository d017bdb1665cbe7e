// SPDX-License-Identifier: Apache-2.0
// The time-line of a session in scans: what was seen, what is missing, and why.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "host/decode/sink.h"

namespace host::decode {

/// Window blocks lie end to end; where one starts late the scans between are a gap, blamed on the gravest loss noticed
/// since the block before. All scans are session scans.
class Continuity {
 public:
  static constexpr std::size_t kGapsListedMax = 1000;

  struct Placed {
    bool stale = false;          // lies before what was already seen: not to be used
    std::optional<ScanGap> gap;  // before it
  };

  /// Something was lost, or may have been.
  void blame(steadyrail::proto::LossCause cause);
  /// The next window block covers [first, end).
  Placed place(std::uint64_t first, std::uint64_t end, std::uint32_t scans_per_window);
  /// The jig acknowledged something at this scan.
  void acknowledged(std::uint64_t scan);
  /// The jig named this scan as its present one, running or not.
  void present(std::uint64_t scan, std::optional<bool> running);
  /// The end of the session: a gap where the jig measured on beyond what was seen.
  std::optional<ScanGap> finish();

  std::uint64_t first_scan() const { return first_; }
  std::uint64_t end_scan() const { return end_; }
  /// No scan of the session so far lies at or beyond this one.
  std::uint64_t horizon() const { return std::max(end_, present_ + 1); }
  std::uint64_t scans_seen() const { return seen_; }
  std::uint64_t scans_missing() const { return missing_; }
  std::uint64_t gaps_total() const { return gaps_total_; }
  const std::vector<ScanGap>& gaps() const { return gaps_; }

 private:
  ScanGap add_gap(std::uint64_t from, std::uint64_t to, steadyrail::proto::LossCause fallback);

  std::vector<ScanGap> gaps_;
  std::uint64_t gaps_total_ = 0;
  std::uint64_t seen_ = 0;
  std::uint64_t missing_ = 0;
  std::uint64_t first_ = 0;
  std::uint64_t end_ = 0;
  std::uint64_t present_ = 0;
  std::uint32_t scans_per_window_ = 0;
  bool begun_ = false;
  bool was_running_ = false;
  std::optional<std::uint64_t> last_acknowledged_;
  std::optional<std::uint64_t> start_at_least_;  // where windows may have begun, when the first were lost
  std::optional<std::uint64_t> stopped_at_;
  steadyrail::proto::LossCause blamed_ = steadyrail::proto::LOSS_CAUSE_UNKNOWN;
};

}  // namespace host::decode
