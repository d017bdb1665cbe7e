// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/capture_store.h"

#include <algorithm>

#include "firmware/core/scan_time.h"

namespace firmware {
namespace {

// What stands before each body in its chain: first scan from the capture's, scans, mask, bytes; little-endian.
constexpr std::size_t kHeadBytes = 8;

std::array<std::byte, kHeadBytes> head_of(std::uint32_t offset, std::uint32_t scans, const PackedBody& packed) {
  std::array<std::byte, kHeadBytes> head;
  const std::uint64_t word = offset | std::uint64_t{scans} << 16 | std::uint64_t{packed.channel_mask} << 24 |
                             static_cast<std::uint64_t>(packed.bytes) << 48;
  for (std::size_t k = 0; k < kHeadBytes; ++k) head[k] = static_cast<std::byte>(word >> (8 * k));
  return head;
}

// Loads in play take 0.7 bytes a sample (measured); three quarters leave a margin.
std::size_t pages_for(std::uint64_t scans) {
  return static_cast<std::size_t>(scans * wire::kChannelCount * 3 / 4 / kPageBytes) + 1;
}

}  // namespace

void CaptureStore::begin(const Settings& settings) {
  ordinary_from_ = 0;
  full_ = false;
  before_scans_ = settings.capture_before_scans;
  after_scans_ = settings.capture_after_scans;
}

bool CaptureStore::covers(const Slot& slot, std::uint64_t first_scan, std::uint64_t last_scan) const {
  return slot.state == State::kTaking && first_scan >= slot.first_scan && last_scan + after_scans_ / 2 <= slot.end_scan;
}

bool CaptureStore::covered(const CaptureTrigger& trigger) {
  const auto covers_it = [&](const Slot& slot) { return covers(slot, trigger.scan, trigger.scan); };
  if (covering_ != nullptr && covers_it(*covering_)) return true;
  const auto found = std::ranges::find_if(slots_, covers_it);
  covering_ = found == slots_.end() ? nullptr : &*found;
  return covering_ != nullptr;
}

bool CaptureStore::answers_alike(std::uint64_t first_scan, std::uint64_t last_scan) const {
  if (covering_ != nullptr && covers(*covering_, first_scan, last_scan)) return true;
  return full_ && std::ranges::none_of(slots_, [](const Slot& slot) { return slot.state == State::kTaking; });
}

void CaptureStore::trigger_alike(std::uint32_t count, std::uint64_t last_scan) {
  if (!covered({.scan = last_scan})) turn_away(count, last_scan);
}

void CaptureStore::turn_away(std::uint32_t count, std::uint64_t last_scan) {
  count_up(health_.captures_late, count);
  ordinary_from_ = last_scan + kScansPerSecond;  // while there is more than enough to capture
}

// What the captures being taken will still need.
std::size_t CaptureStore::pages_promised() const {
  std::size_t pages = 0;
  for (const Slot& slot : slots_) {
    if (slot.state == State::kTaking && slot.next_scan < slot.end_scan)
      pages += pages_for(slot.end_scan - slot.next_scan);
  }
  return pages;
}

CaptureStore::Slot* CaptureStore::free_slot(const CaptureTrigger& trigger) {
  const bool edge = trigger.cause == CaptureCause::kEdge;
  std::size_t kept = edge ? 0 : kEdgeSlots + (trigger.ordinary ? kSteadySlots : 0);
  for (const Slot& slot : slots_) {
    // The edge slot is in use only when an edge took it: then it need not be kept as well.
    if (slot.state != State::kFree && slot.trigger.cause == CaptureCause::kEdge && kept > 0) --kept;
  }
  const auto free = static_cast<std::size_t>(
      std::ranges::count_if(slots_, [](const Slot& slot) { return slot.state == State::kFree; }));
  // One whole capture is worth more than two cut short; an edge begins with whatever room there is.
  const std::size_t pages = edge ? 1 : kEdgePages + pages_promised() + pages_for(before_scans_ + after_scans_);
  if (free <= kept || pool_.free_pages() < pages) return nullptr;
  return &*std::ranges::find_if(slots_, [](const Slot& slot) { return slot.state == State::kFree; });
}

bool CaptureStore::trigger(const CaptureTrigger& trigger) {
  const bool edge = trigger.cause == CaptureCause::kEdge;
  // In a storm triggers come by the hundred a block, and the answer is the same until something changes.
  const bool full = full_ && !edge;
  if (full && !trigger.ordinary && trigger.scan >= full_from_) {
    turn_away(1, trigger.scan);
    return false;
  }
  if (covered(trigger)) return true;
  if (trigger.ordinary && trigger.scan < ordinary_from_) return false;
  Slot* slot = full ? nullptr : free_slot(trigger);
  if (slot == nullptr) {
    if (trigger.ordinary) return false;
    full_from_ = full ? std::min(full_from_, trigger.scan) : trigger.scan;
    full_ = full_ || !edge;
    turn_away(1, trigger.scan);
    return false;
  }
  full_ = false;  // it may cover what the others do not
  *slot = Slot{};
  slot->state = State::kTaking;
  if (++captures_ == 0) ++captures_;
  slot->capture = captures_;
  slot->trigger = trigger;
  slot->first_scan = std::max(ring_.first_scan(), trigger.scan - std::min<std::uint64_t>(trigger.scan, before_scans_));
  slot->next_scan = slot->first_scan;
  slot->end_scan = trigger.scan + after_scans_;
  return true;
}

void CaptureStore::close() {
  for (Slot& slot : slots_) {
    if (slot.state == State::kTaking) slot.end_scan = std::min(slot.end_scan, ring_.next_scan());
  }
  // The ring is about to begin anew, and the slots hold what bounds this loop.
  while (pack_step()) {
  }
}

CaptureStore::Slot* CaptureStore::most_urgent() {
  Slot* urgent = nullptr;
  for (Slot& slot : slots_) {
    if (slot.state != State::kTaking) continue;
    const std::uint64_t stretch_end = std::min(slot.next_scan + wire::kCaptureScansMax, slot.end_scan);
    if (stretch_end > ring_.next_scan()) continue;
    if (urgent == nullptr || slot.next_scan < urgent->next_scan) urgent = &slot;
  }
  return urgent;
}

bool CaptureStore::pack_step() {
  Slot* slot = most_urgent();
  if (slot == nullptr) return false;
  full_ = false;
  if (slot->next_scan < ring_.first_scan()) {
    cut(*slot);
  } else if (slot->next_scan < slot->end_scan) {
    pack(*slot);
  }
  if (slot->state == State::kTaking && slot->next_scan >= slot->end_scan) end_taking(*slot);
  return true;
}

void CaptureStore::pack(Slot& slot) {
  const auto scans =
      static_cast<std::uint32_t>(std::min<std::uint64_t>(wire::kCaptureScansMax, slot.end_scan - slot.next_scan));
  const auto take = [&](std::size_t channel, std::int16_t* codes) {
    ring_.copy_column(slot.next_scan, scans, channel, codes);
  };
  std::uint32_t left = (std::uint32_t{1} << wire::kChannelCount) - 1;
  while (left != 0 && slot.state == State::kTaking) {
    left = pack_scans(left, scans, take, packed_);
    store(slot, scans);
  }
  slot.next_scan += scans;
}

void CaptureStore::store(Slot& slot, std::uint32_t scan_count) {
  const std::size_t kept = slot.trigger.cause == CaptureCause::kEdge ? 0 : kEdgePages;
  if (PagePool::pages_needed(slot.chain, kHeadBytes + packed_.bytes) + kept > pool_.free_pages()) {
    cut(slot);
    return;
  }
  pool_.append(slot.chain, head_of(static_cast<std::uint32_t>(slot.next_scan - slot.first_scan), scan_count, packed_));
  pool_.append(slot.chain, std::span(packed_.body).first(packed_.bytes));
  ++slot.pieces;
}

// What was packed so far is sent, and ends early; the host sees that it does.
void CaptureStore::cut(Slot& slot) {
  count_up(health_.captures_dropped);
  end_taking(slot);
}

void CaptureStore::end_taking(Slot& slot) {
  slot.state = State::kReady;
  if (slot.pieces == 0) {
    pool_.release(slot.chain);
    slot.state = State::kFree;
  }
}

bool CaptureStore::take_piece(CapturePiece& out) {
  Slot* slot = nullptr;
  for (Slot& candidate : slots_) {
    if (candidate.state == State::kReady && (slot == nullptr || candidate.capture < slot->capture)) slot = &candidate;
  }
  if (slot == nullptr) return false;
  full_ = false;
  std::array<std::byte, kHeadBytes> head;
  pool_.read(slot->chain, head);
  std::uint64_t word = 0;
  for (std::size_t k = 0; k < kHeadBytes; ++k) word |= std::to_integer<std::uint64_t>(head[k]) << (8 * k);
  out.capture = slot->capture;
  out.trigger = slot->trigger;
  out.first_scan = slot->first_scan + (word & 0xFFFF);
  out.scan_count = static_cast<std::uint32_t>(word >> 16 & 0xFF);
  out.packed.channel_mask = static_cast<std::uint32_t>(word >> 24 & 0xFFFFFF);
  out.packed.bytes = static_cast<std::size_t>(word >> 48);
  pool_.read(slot->chain, std::span(out.packed.body).first(out.packed.bytes));
  out.remaining = --slot->pieces;
  if (slot->pieces == 0) {
    pool_.release(slot->chain);
    slot->state = State::kFree;
  }
  return true;
}

bool CaptureStore::empty() const {
  return std::ranges::all_of(slots_, [](const Slot& slot) { return slot.state == State::kFree; });
}

}  // namespace firmware
