// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/edge_capture.h"

#include <algorithm>

#include "firmware/board/stm32f405/cpu.h"
#include "firmware/board/stm32f405/sample_clock.h"
#include "firmware/core/health.h"

namespace firmware::chip {
namespace {

constexpr std::uint32_t kCounterEnable = 1U << 0;  // CR1
constexpr std::uint32_t kUpdateByOverflowOnly = 1U << 2;
constexpr std::uint32_t kRestartAtTrigger = 4;  // SMCR
constexpr std::uint32_t kFilter = 3U << 4;      // CCMR: 8 samples at 84 MHz, 95 ns
constexpr std::uint32_t kDirect = 1;            // CCMR: the capture's own input
constexpr std::uint32_t kCrossed = 2;           // the other input of its pair
constexpr std::uint32_t kEnable = 1U << 0;      // CCER, four bits a capture
constexpr std::uint32_t kFalling = 1U << 1;
constexpr std::uint32_t kMissedShift = 8;  // SR: over-captures lie 8 bits above the captures

std::uint32_t flag_of(std::uint32_t capture) {
  return 2U << capture;
}

}  // namespace

void ComparatorCapture::begin() {
  const std::uint32_t first = (listen_to_ == 0 ? kDirect : kCrossed) | kFilter;
  const std::uint32_t second = (listen_to_ == 1 ? kDirect : kCrossed) | kFilter;
  timer_.PSC = prescaler_;
  timer_.ARR = 0xFFFF;
  timer_.CCMR[input_ / 2] = first | second << 8;
  set_field(timer_.CCER, 0xFFU << (4 * input_), (kEnable | (kEnable | kFalling) << 4) << (4 * input_));
  timer_.SMCR = kRestartAtTrigger | trigger_ << 4;
  timer_.SR = 0;
  set_bits(timer_.DIER, flag_of(input_) | flag_of(input_ + 1));
  timer_.CR1 = kCounterEnable | kUpdateByOverflowOnly;
}

ComparatorCapture::Edges ComparatorCapture::take(std::uint64_t scan_now, std::uint32_t ticks_now) {
  const std::uint32_t missed = (flag_of(input_) | flag_of(input_ + 1)) << kMissedShift;
  Edges edges;
  edges.missed = (timer_.SR & missed) != 0;
  if (edges.missed) timer_.SR = ~missed;
  edges.rise = take_one(input_, scan_now, ticks_now);
  edges.fall = take_one(input_ + 1, scan_now, ticks_now);
  return edges;
}

std::optional<Ticks> ComparatorCapture::take_one(std::uint32_t capture, std::uint64_t scan_now,
                                                 std::uint32_t ticks_now) {
  if ((timer_.SR & flag_of(capture)) == 0) return std::nullopt;
  const std::uint32_t ticks = timer_.CCR[capture];  // reading it clears the flag
  const std::uint64_t scan = ticks <= ticks_now || scan_now == 0 ? scan_now : scan_now - 1;
  return scan * kTicksPerScan + ticks;
}

LineWatch::Step* LineWatch::first_of(std::array<Step, 4>& steps) {
  Step* first = nullptr;
  for (Step& step : steps) {
    if (step.at && (first == nullptr || *step.at < *first->at)) first = &step;
  }
  return first;
}

void LineWatch::move(Move move, Ticks at) {
  switch (move) {
    case Move::kAboveLower:
      if (!high_) peak_ = at;
      return;
    case Move::kBelowUpper:
      if (high_) dip_ = at;
      return;
    case Move::kBelowLower:
      if (high_) {
        say(at, false, 0);
      } else if (peak_) {
        say(*peak_, false, at - *peak_);
      }
      high_ = false;
      break;
    case Move::kAboveUpper:
      if (!high_) {
        say(at, true, 0);
      } else if (dip_) {
        say(*dip_, true, at - *dip_);
      }
      high_ = true;
      break;
  }
  dip_.reset();
  peak_.reset();
}

void LineWatch::say(Ticks at, bool high, Ticks width) {
  const auto within = static_cast<std::uint32_t>(at % kTicksPerScan);
  told_ = LineEdge{
      .line = line_,
      .high = high,
      .offset_256 = static_cast<std::uint8_t>(within * 256 / kTicksPerScan),
      .scan = at / kTicksPerScan,
      .pulse_ns = static_cast<std::uint32_t>(std::min<Ticks>(width * 1000 / kTicksPerMicrosecond, UINT32_MAX))};
}

void EdgeQueue::push(const LineEdge& edge) {
  if (count_ == edges_.size()) {
    count_up(dropped_);
    return;
  }
  edges_[count_++] = edge;
}

void EdgeQueue::fill(ScanBlock& block, std::uint64_t end_scan) {
  const InterruptLock lock;
  std::size_t kept = 0;
  for (std::size_t k = 0; k < count_; ++k) {
    LineEdge edge = edges_[k];
    if (edge.scan >= end_scan || block.edge_count == block.edges.size()) {
      edges_[kept++] = edge;
      continue;
    }
    edge.scan = std::max(edge.scan, block.first_scan);  // of a block that was given up
    block.edges[block.edge_count++] = edge;
  }
  count_ = kept;
}

}  // namespace firmware::chip
