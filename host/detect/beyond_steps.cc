// SPDX-License-Identifier: Apache-2.0
#include "host/detect/beyond_steps.h"

#include <algorithm>
#include <cmath>

#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using steadyrail::proto::WithinStep;

constexpr std::size_t kRecentMost = 64;
constexpr std::size_t kSpansMost = 1024;  // of one rail; events look back less than two seconds
constexpr double kMeanScans = 16;         // each of the two means a step is the difference of
constexpr std::uint64_t kLeadScans = 20;  // the edge lies this near the scan the chip names
constexpr double kTogetherS = 1e-3;
// A rail needs some milliseconds to come back from a step; that way belongs to the step. Common practice, no source.
constexpr double kRecoveryS = 10e-3;

}  // namespace

BeyondSteps::Judged BeyondSteps::step(std::size_t current, std::uint64_t scan, double step_a) {
  const auto& output = specified_.at(current);
  const model::JigChannel* channel = jig_.at(current);
  if (!output || channel == nullptr) return {};
  const double u_a = judge::difference_uncertainty(*channel, step_a, step_a, kMeanScans, kMeanScans).expanded;
  const auto together = static_cast<std::uint64_t>(kTogetherS * jig_.scan_rate_hz());
  double sum_a = step_a;
  double sum_u_a = u_a;
  for (const Recent& other : recent_) {
    const bool near = other.scan + together > scan && scan + together > other.scan;
    if (!near || other.group != output->group || other.step_a * step_a < 0) continue;
    sum_a += other.step_a;
    sum_u_a += other.u_a;  // added, not squared: the channels share a meter, so their errors may agree
  }
  recent_.push_back({output->group, scan, step_a, u_a});
  if (recent_.size() > kRecentMost) recent_.pop_front();
  const WithinStep within = specified_.judge(current, sum_a, sum_u_a);
  if (within == WithinStep::WITHIN_STEP_NO) {
    auto& spans = spans_[channel->rail];
    const auto recovery = static_cast<std::uint64_t>(kRecoveryS * jig_.scan_rate_hz());
    const Span span{scan > kLeadScans ? scan - kLeadScans : 0, scan + recovery};
    if (!spans.empty() && spans.back().start <= span.start && span.start <= spans.back().end) {
      spans.back().end = std::max(spans.back().end, span.end);
    } else {
      spans.push_back(span);
    }
    if (spans.size() > kSpansMost) spans.pop_front();
  }
  return {within, output->step_a};
}

bool BeyondSteps::at_work(steadyrail::proto::Rail rail, std::uint64_t from, std::uint64_t to) const {
  // The newest first: what is asked about has happened lately.
  const auto& spans = spans_[rail];
  for (auto span = spans.rbegin(); span != spans.rend() && span->end > from; ++span) {
    if (span->start < to) return true;
  }
  return false;
}

void BeyondSteps::restarted() {
  recent_.clear();
  for (auto& spans : spans_) spans.clear();
}

}  // namespace host::detect
