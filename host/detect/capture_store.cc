// SPDX-License-Identifier: Apache-2.0
#include "host/detect/capture_store.h"

#include <algorithm>
#include <span>
#include <utility>

#include "host/detect/block.h"
#include "proto/wire/lesser.h"

namespace host::detect {
namespace {

struct Range {
  std::int16_t low;
  std::int16_t high;
};

Range range_of(std::span<const std::int16_t> codes) {
  std::int16_t low = codes.front();
  std::int16_t high = low;
  // In strides of known length, which become vector instructions.
  constexpr std::size_t kStride = wire::kCaptureScansMax;
  for (; codes.size() >= kStride; codes = codes.subspan(kStride)) {
    const std::int16_t* from = codes.data();
    for (std::size_t k = 0; k < kStride; ++k) low = wire::lesser(low, from[k]);
    for (std::size_t k = 0; k < kStride; ++k) high = wire::greater(high, from[k]);
  }
  for (const std::int16_t code : codes) {
    low = wire::lesser(low, code);
    high = wire::greater(high, code);
  }
  return {low, high};
}

}  // namespace

void CaptureStore::add(const decode::CaptureBatch& batch) {
  const bool sound = batch.scan_count >= 1 && batch.scan_count <= wire::kCaptureScansMax &&
                     batch.codes.size() >= batch.channels.size() && batch.first_scan < kScanMost;
  if (batch.capture == 0 || !sound) return;
  auto found = std::ranges::find(open_, batch.capture, &Capture::id);
  const auto fits = [&](const Capture& open) {
    return open.end == batch.first_scan && open.end - open.first + batch.scan_count <= kScansMost &&
           std::ranges::all_of(batch.channels, [&](std::uint8_t channel) {
             return channel < wire::kChannelCount && !open.codes[channel].empty();
           });
  };
  // A block that was lost ends the capture there: two ends are never joined across a hole.
  if (found != open_.end() && !fits(*found)) {
    close(static_cast<std::size_t>(found - open_.begin()));
    found = open_.end();
  }
  if (found == open_.end()) {
    if (open_.size() >= kOpenMost) close(0);
    Capture capture = std::exchange(spare_, {});
    for (auto& codes : capture.codes) codes.clear();
    capture.id = batch.capture;
    capture.cause = batch.cause;
    capture.trigger = batch.trigger_scan;
    capture.first = capture.end = batch.first_scan;
    open_.push_back(std::move(capture));
    found = open_.end() - 1;
  }
  for (std::size_t place = 0; place < batch.channels.size(); ++place) {
    if (batch.channels[place] >= wire::kChannelCount) continue;
    auto& codes = found->codes[batch.channels[place]];
    codes.insert(codes.end(), batch.codes[place].begin(), batch.codes[place].begin() + batch.scan_count);
  }
  found->end += batch.scan_count;
  if (batch.remaining == 0) close(static_cast<std::size_t>(found - open_.begin()));
}

void CaptureStore::close(std::size_t place) {
  Capture capture = std::move(open_[place]);
  open_.erase(open_.begin() + static_cast<std::ptrdiff_t>(place));
  // A channel that joined late or was missing in one block does not reach from end to end: it is of no use.
  for (std::size_t channel = 0; channel < wire::kChannelCount; ++channel) {
    auto& codes = capture.codes[channel];
    if (codes.size() != capture.end - capture.first) codes.clear();
    if (codes.empty()) continue;
    const Range range = range_of(codes);
    capture.low[channel] = range.low;
    capture.high[channel] = range.high;
  }
  kept_.push_back(std::move(capture));
  if (kept_.size() > kKept) {
    spare_ = std::move(kept_.front());
    kept_.pop_front();
  }
  complete_(kept_.back());
}

void CaptureStore::finish() {
  while (!open_.empty()) close(0);
}

}  // namespace host::detect
