// SPDX-License-Identifier: Apache-2.0
#include "host/detect/history.h"

#include <algorithm>
#include <cstring>

namespace host::detect {
namespace {

constexpr std::size_t kChangesMost = 4096;  // of one rail's state

}  // namespace

using steadyrail::proto::WithinRating;

void History::add(const Block& block) {
  Slot& slot = slots_[next_];
  slot.first = block.first;
  slot.scans = block.scans;
  slot.count = block.count;
  note_rating(block);
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
  const auto place = [&](std::size_t age) { return (next_ + kBlocks - age) % kBlocks; };
  // From the newest back to the one that holds `from`: events have ended lately.
  std::size_t age = 0;
  while (age < held_ && slots_[place(age + 1)].end() > from) ++age;
  for (; age > 0; --age) {
    const std::size_t at = place(age);
    const Slot& slot = slots_[at];
    if (slot.first >= to) return;
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

void History::note_rating(const Block& block) {
  for (std::size_t rail = 1; rail < judge::kRailCount; ++rail) {
    auto& changes = ratings_[rail];
    const auto note = [&](std::uint64_t scan, judge::Load load) {
      if (!changes.empty() && changes.back().load == load) return;
      changes.push_back({scan, load});
      if (changes.size() > kChangesMost) changes.pop_front();
    };
    // Nothing is known of a hole.
    if (!block.follows && end_ != 0) note(end_, judge::Load::kUnknown);
    const auto& states = block.rating[rail];
    note(block.first, states[0]);
    if (std::memcmp(&states[0], &states[1], block.count - 1) == 0) continue;
    for (std::uint32_t i = 1; i < block.count; ++i) {
      if (states[i] != states[i - 1]) note(block.start_of(i), states[i]);
    }
  }
}

WithinRating History::within(steadyrail::proto::Rail rail, std::uint64_t from, std::uint64_t to) const {
  const auto& changes = ratings_[rail];
  bool unknown = changes.empty() || changes.front().scan > from;
  // The newest first: events have ended lately.
  for (auto change = changes.rbegin(); change != changes.rend(); ++change) {
    if (change->scan < to) {
      if (change->load == judge::Load::kOutside) return WithinRating::WITHIN_RATING_NO;
      unknown = unknown || change->load != judge::Load::kWithin;
    }
    if (change->scan <= from) break;
  }
  return unknown ? WithinRating::WITHIN_RATING_UNKNOWN : WithinRating::WITHIN_RATING_YES;
}

}  // namespace host::detect
