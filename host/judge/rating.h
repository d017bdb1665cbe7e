// SPDX-License-Identifier: Apache-2.0
// Whether the load a supply carries lies inside what its label promises: limits hold only there.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "host/model/jig.h"
#include "limits.pb.h"
#include "proto/wire/window.h"
#include "result.pb.h"
#include "unit.pb.h"

namespace host::judge {

inline constexpr std::size_t kRailCount = 6;  // of proto::Rail, unknown included

/// Least and greatest current of every current channel in each window of a block, A.
struct BlockLoads {
  std::array<std::array<float, wire::kWindowsPerBlock>, wire::kChannelCount> low{};
  std::array<std::array<float, wire::kWindowsPerBlock>, wire::kChannelCount> high{};
};

/// What is known of the load in one window. `kDoubtful`: above what the label promises for good, and whether the
/// edition's excursion table covers it, or whether peaks coincided, is not known.
enum class Load : std::uint8_t { kUnknown, kWithin, kOutside, kDoubtful };

/// As results say it: doubtful is unknown.
steadyrail::proto::WithinRating within_rating(Load load);

/// State of each rail's load, window by window.
using BlockRating = std::array<std::array<Load, wire::kWindowsPerBlock>, kRailCount>;

class Rating {
 public:
  /// `unit` and `limits` may be null. Uncalibrated current channels count as absent. Power is taken at nominal voltage.
  Rating(const model::Jig& jig, const steadyrail::proto::Unit* unit, const steadyrail::proto::LimitSet* limits);

  /// Judges the windows of one block; an overload's duration runs on into the next block.
  void judge(const BlockLoads& loads, std::uint32_t windows, double window_s, BlockRating& out);
  /// Ends every overload that runs: nothing is known of the stretch that follows.
  void gap();

  /// What cannot be known here, in words; for the reader of the verdicts.
  const std::vector<std::string>& remarks() const { return remarks_; }

 private:
  struct Check {
    std::vector<std::size_t> channels;
    std::vector<float> weights;  // 1: amps; nominal volts: watts
    double limit = 0;
    double uncertainty = 0;   // of the sum, expanded
    std::uint32_t rails = 0;  // bit per rail judged by it
    bool excursions = false;  // the edition's excursion table holds
    std::uint32_t run = 0;    // windows in a row that may lie above the limit
  };
  struct Row {
    double duration_s;
    double small;
    double large;
    bool published;  // read, not remembered: what it allows is certain
  };

  void add_rails(const model::Jig& jig, const steadyrail::proto::Unit& unit);
  void add_sums(const model::Jig& jig, const steadyrail::proto::Unit& unit);
  void add_check(const model::Jig& jig, Check check, double limit);
  void hold(BlockRating& rating, std::uint32_t windows, double window_s);
  Load judge_window(Check& check, const BlockLoads& loads, std::uint32_t window, double window_s) const;

  std::vector<Check> checks_;
  std::vector<std::size_t> channels_;  // of all checks
  std::vector<Row> rows_;              // ascending duration
  std::array<bool, kRailCount> known_{};
  std::array<std::uint32_t, kRailCount> recovering_{};  // windows left in which an overload may still be felt
  double total_w_ = 0;
  std::vector<std::string> remarks_;
};

}  // namespace host::judge
