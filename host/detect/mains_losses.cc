// SPDX-License-Identifier: Apache-2.0
#include "host/detect/mains_losses.h"

#include <algorithm>
#include <cmath>

namespace host::detect {
namespace {

constexpr std::size_t kRecent = 64;
constexpr double kBounceS = 20e-3;    // two breaks within it: a contact that bounces; own choice
constexpr double kAftermathS = 0.2;   // windows wanted after a loss
constexpr double kOpenMostS = 1.0;    // a loss as long as this is told without its end
constexpr double kBeforeS = 25e-3;    // more than a cycle at 47 Hz
constexpr double kSixtyLeastHz = 55;  // between the two mains frequencies

}  // namespace

MainsLosses::MainsLosses(const model::Jig& jig, const History& history) : jig_(jig), history_(history) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind == steadyrail::proto::CHANNEL_KIND_AC_PRESENT) adapter_ = &channel;
  }
}

void MainsLosses::edge(const steadyrail::proto::Edge& edge) {
  if (adapter_ == nullptr || edge.line() != steadyrail::proto::LINE_AC_PRESENT || edge.pulse_ns() != 0) return;
  if (edge.scan() >= kScanMost) return;
  const double scan = static_cast<double>(edge.scan()) + std::min(edge.offset_256(), 255U) / 256.0;
  const bool open = !recent_.empty() && !recent_.back().end;
  if (edge.high()) {
    if (!open || scan < recent_.back().start) return;
    recent_.back().end = scan;
    for (MainsLoss& loss : waiting_) {
      if (loss.start == recent_.back().start) loss.end = scan;
    }
    return;
  }
  if (open) return;
  MainsLoss loss;
  loss.start = scan;
  if (!recent_.empty() && scan - *recent_.back().end < kBounceS * jig_.scan_rate_hz()) {
    loss.bounced = true;
    recent_.back().bounced = true;
    for (MainsLoss& waiting : waiting_) waiting.bounced = waiting.bounced || waiting.start == recent_.back().start;
  }
  recent_.push_back(loss);
  if (recent_.size() > kRecent) recent_.pop_front();
  waiting_.push_back(loss);
  if (waiting_.size() > kRecent) waiting_.pop_front();
}

void MainsLosses::measure(MainsLoss& loss) const {
  const double rate = jig_.scan_rate_hz();
  const auto first = static_cast<std::uint64_t>(std::max(0.0, loss.start - 10 * kBeforeS * rate));
  const auto start = static_cast<std::uint64_t>(loss.start);
  const double end = loss.end ? *loss.end : loss.start + kOpenMostS * rate;
  double before = 0;
  double during = -1;
  double last_mean = 0;
  std::uint64_t seen = 0;
  int turns = 0;
  history_.visit(first, static_cast<std::uint64_t>(end), [&](const History::Window& window) {
    const double most = std::max(std::abs(adapter_->value(history_.low(window, adapter_->index))),
                                 std::abs(adapter_->value(history_.high(window, adapter_->index))));
    if (window.end() <= start) {
      if (static_cast<double>(window.start) >= loss.start - kBeforeS * rate) before = std::max(before, most);
      const double mean = adapter_->value(history_.mean(window, adapter_->index));
      turns += mean * last_mean < 0 ? 1 : 0;
      last_mean = mean;
      seen += window.scans;
    } else if (window.start > start && static_cast<double>(window.end()) <= end - kBounceS / 2 * rate) {
      // The detector waits 10 ms for quiet before it tells that the mains is back: the last half cycle is mains again.
      during = std::max(during, most);
    }
  });
  loss.retained = before > 0 && during >= 0 ? during / before : 0;
  const auto& lines = jig_.description().lines();
  const double hz = seen > 0 ? turns * rate / (2 * static_cast<double>(seen)) : 0;
  loss.late_s = hz > kSixtyLeastHz ? lines.mains_latency_60_s() : lines.mains_latency_50_s();
}

std::vector<MainsLoss> MainsLosses::take(std::uint64_t reached, bool all) {
  std::vector<MainsLoss> ready;
  const double rate = jig_.scan_rate_hz();
  while (!waiting_.empty()) {
    MainsLoss& loss = waiting_.front();
    const double from =
        loss.end && *loss.end < loss.start + kOpenMostS * rate ? *loss.end : loss.start + kOpenMostS * rate;
    if (!all && static_cast<double>(reached) < from + kAftermathS * rate) break;
    measure(loss);
    ready.push_back(loss);
    waiting_.pop_front();
  }
  return ready;
}

void MainsLosses::gap() {
  waiting_.clear();
  recent_.clear();
}

std::optional<MainsLoss> MainsLosses::at(double scan, double grace) const {
  for (auto loss = recent_.rbegin(); loss != recent_.rend(); ++loss) {
    if (loss->start > scan) continue;
    if (!loss->end || *loss->end + grace >= scan) return *loss;
    return std::nullopt;
  }
  return std::nullopt;
}

}  // namespace host::detect
