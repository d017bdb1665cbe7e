// SPDX-License-Identifier: Apache-2.0
#include "host/detect/found.h"

#include <algorithm>

namespace host::detect {
namespace {

constexpr std::size_t kShortMost = 4;  // scans told apart; longer ones together

}  // namespace

// Of equal severity the earlier stays: the order of arrival must not decide what a report shows.
bool EventBook::milder_first(const Listed& a, const Listed& b) {
  if (a.severity != b.severity) return a.severity > b.severity;
  return a.start < b.start;
}

std::uint32_t EventBook::add(const Found& found) {
  if (told_) told_(found);
  Shelf& shelf = shelves_[{found.kind, found.channel}];
  if (listed_max_ == 0) {
    ++shelf.counted;
    return 0;
  }
  Listed one{.severity = found.severity,
             .start = found.start,
             .from = found.start,
             .to = std::max(found.end, found.start + 1),
             .found = nullptr};
  if (shelf.listed.size() >= listed_max_) {
    ++shelf.counted;
    if (!milder_first(one, shelf.listed.front())) return 0;
    std::ranges::pop_heap(shelf.listed, milder_first);
    one.found = std::move(shelf.listed.back().found);
    shelf.listed.pop_back();
    *one.found = found;
  } else {
    one.found = std::make_unique<Found>(found);
  }
  one.found->id = next_id_++;
  const std::uint32_t id = one.found->id;
  shelf.listed.push_back(std::move(one));
  std::ranges::push_heap(shelf.listed, milder_first);
  return id;
}

void EventBook::count(steadyrail::proto::EventKind kind, std::uint8_t channel, std::uint64_t events) {
  if (events > 0) shelves_[{kind, channel}].counted += events;
}

void EventBook::count_short(steadyrail::proto::EventKind kind, std::uint8_t channel, std::uint64_t scans) {
  Shelf& shelf = shelves_[{kind, channel}];
  ++shelf.counted;
  shelf.short_by_scans.resize(kShortMost + 1);
  ++shelf.short_by_scans[std::min<std::uint64_t>(scans, kShortMost)];
}

void EventBook::visit(steadyrail::proto::EventKind kind, std::uint8_t channel, std::uint64_t from, std::uint64_t to,
                      const std::function<void(Found&)>& change) {
  const auto shelf = shelves_.find({kind, channel});
  if (shelf == shelves_.end()) return;
  for (Listed& one : shelf->second.listed) {
    if (one.from >= to || from >= one.to) continue;
    change(*one.found);
    one.from = one.found->start;
    one.to = std::max(one.found->end, one.found->start + 1);
  }
}

bool EventBook::listed(std::uint32_t id) const {
  for (const auto& [key, shelf] : shelves_) {
    if (std::ranges::any_of(shelf.listed, [&](const Listed& one) { return one.found->id == id; })) return true;
  }
  return false;
}

std::vector<const Found*> EventBook::by_time() const {
  std::vector<const Found*> all;
  for (const auto& [key, shelf] : shelves_) {
    for (const Listed& one : shelf.listed) all.push_back(one.found.get());
  }
  std::ranges::sort(all, [](const Found* a, const Found* b) {
    return std::tie(a->start, a->kind, a->channel, a->id) < std::tie(b->start, b->kind, b->channel, b->id);
  });
  return all;
}

std::vector<EventBook::Count> EventBook::counts() const {
  std::vector<Count> all;
  all.reserve(shelves_.size());
  for (const auto& [key, shelf] : shelves_) {
    all.push_back({static_cast<steadyrail::proto::EventKind>(key.first), key.second, shelf.listed.size(), shelf.counted,
                   shelf.short_by_scans});
  }
  return all;
}

}  // namespace host::detect
