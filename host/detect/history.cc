// SPDX-License-Identifier: Apache-2.0
#include "host/detect/history.h"

#include <algorithm>

namespace host::detect {

using steadyrail::proto::WithinRating;

void History::add(const Block& block) {
  Slot& slot = slots_[next_];
  slot.first = block.first;
  slot.scans = block.scans;
  slot.count = block.count;
  slot.rating = block.rating;
  for (std::size_t i = 0; i < wire::kChannelCount; ++i) {
    slot.channels[i].mean_8 = block.windows->channels[i].mean_8;
    slot.channels[i].min = block.windows->channels[i].min;
    slot.channels[i].max = block.windows->channels[i].max;
  }
  next_ = (next_ + 1) % kBlocks;
  held_ = std::min(held_ + 1, kBlocks);
  end_ = block.end();
}

std::int16_t History::low(const Window& window, std::size_t channel) const {
  return slots_[window.slot].channels[channel].min[window.index];
}

std::int16_t History::high(const Window& window, std::size_t channel) const {
  return slots_[window.slot].channels[channel].max[window.index];
}

double History::mean(const Window& window, std::size_t channel) const {
  return slots_[window.slot].channels[channel].mean_8[window.index] / 8.0;
}

void History::visit(std::uint64_t from, std::uint64_t to, const std::function<void(const Window&)>& visit) const {
  for (std::size_t age = held_; age > 0; --age) {
    const std::size_t at = (next_ + kBlocks - age) % kBlocks;
    const Slot& slot = slots_[at];
    const std::uint64_t end = slot.first + std::uint64_t{slot.scans} * slot.count;
    if (slot.first >= to || end <= from) continue;
    const std::uint64_t begin = from > slot.first ? (from - slot.first) / slot.scans : 0;
    for (std::uint64_t i = begin; i < slot.count; ++i) {
      const Window window{.start = slot.first + i * slot.scans,
                          .scans = slot.scans,
                          .slot = at,
                          .index = static_cast<std::uint32_t>(i)};
      if (window.start >= to) break;
      visit(window);
    }
  }
}

std::optional<double> History::level_before(std::size_t channel, std::uint64_t scan) const {
  for (std::size_t age = 1; age <= held_; ++age) {
    const Slot& slot = slots_[(next_ + kBlocks - age) % kBlocks];
    if (slot.first + slot.scans > scan) continue;
    const std::uint64_t whole = std::min<std::uint64_t>((scan - slot.first) / slot.scans, slot.count);
    return slot.channels[channel].mean_8[whole - 1] / 8.0;
  }
  return std::nullopt;
}

WithinRating History::within(steadyrail::proto::Rail rail, std::uint64_t from, std::uint64_t to) const {
  bool any = false;
  bool unknown = false;
  bool beyond = false;
  visit(from, to, [&](const Window& window) {
    any = true;
    const std::uint8_t state = slots_[window.slot].rating[rail][window.index];
    unknown = unknown || state == WithinRating::WITHIN_RATING_UNKNOWN;
    beyond = beyond || state == WithinRating::WITHIN_RATING_NO;
  });
  if (beyond) return WithinRating::WITHIN_RATING_NO;
  return any && !unknown ? WithinRating::WITHIN_RATING_YES : WithinRating::WITHIN_RATING_UNKNOWN;
}

}  // namespace host::detect
