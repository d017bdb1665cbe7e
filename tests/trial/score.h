// SPDX-License-Identifier: Apache-2.0
// What many judged sessions come to: confusion matrix, rates with their bounds, calibration of the odds, goals.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "tests/trial/judged.h"

namespace trial {

/// What is kept of one session.
struct Row {
  std::string kind;
  std::uint64_t seed = 0;
  steadyrail::proto::Conclusion conclusion = steadyrail::proto::CONCLUSION_NOT_TESTED;
  Expected expected;
  std::optional<double> likelihood_ratio;
  std::uint32_t own_lock_ups = 0;     // of the PC's own making
  std::uint32_t caused_lock_ups = 0;  // by what a load saw
  double cpu_s = 0;
  double generated_cpu_s = 0;
  double session_s = 0;
  std::vector<std::string> grounds;  // of the conclusion
};

/// Whether the conclusion is one of those that are right.
bool right(const Row& row);

Row row_of(const std::string& kind, std::uint64_t seed, const Judged& judged, double session_s);

/// One line, values parted by commas.
std::string csv_of(const Row& row);

enum class Standing : std::uint8_t { kMet, kOpen, kMissed };

struct Goal {
  std::string words;
  Standing standing = Standing::kOpen;
};

/// Sessions the goals ask for.
inline constexpr std::uint64_t kInnocentsAsked = 2000;
inline constexpr std::uint64_t kOfKindAsked = 200;

/// A goal is missed when its figure is worse and as many sessions as asked were judged, or when even the exact 95 %
/// bound is worse; met when the figure is as good and so many were judged; else open.
std::vector<Goal> goals(const std::vector<Row>& rows);

/// Everything, as text.
std::string report(const std::vector<Row>& rows);

}  // namespace trial
