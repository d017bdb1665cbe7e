// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/capture_store.h"

#include <algorithm>
#include <bit>

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

// Loads in play take 0.7 bytes a code (measured); three quarters leave a margin.
std::size_t pages_for(std::uint64_t scans, std::uint32_t channel_mask) {
  const auto channels = static_cast<std::uint32_t>(std::popcount(channel_mask));
  const std::uint64_t heads = (scans + wire::kCaptureScansMax - 1) / wire::kCaptureScansMax * kHeadBytes;
  return static_cast<std::size_t>((scans * channels * 3 / 4 + heads) / kPageBytes) + 1;
}

}  // namespace

void CaptureStore::begin(const Settings& settings) {
  ordinary_from_ = 0;
  full_ = false;
  settings_ = &settings;
  need_all_ = {};
  pages_least_ = kPageCount;
  for (std::size_t k = 0; k < settings.capture_group_count; ++k) {
    const CaptureGroup& group = settings.capture_groups[k];
    need_all_.channel_mask |= group.channel_mask;
    need_all_.after_scans = std::max(need_all_.after_scans, group.after_scans);
    pages_least_ = std::min(pages_least_, pages_for(group.scans(), group.channel_mask));
  }
}

const CaptureGroup& CaptureStore::group_of(std::uint8_t channel) const {
  const auto has_it = [&](const CaptureGroup& group) { return (group.trigger_mask >> channel & 1) != 0; };
  const auto& groups = settings_->capture_groups;
  const auto found = std::find_if(groups.begin(), groups.begin() + settings_->capture_group_count, has_it);
  return found == groups.begin() + settings_->capture_group_count ? groups[0] : *found;
}

bool CaptureStore::covers(const Slot& slot, const Need& need, std::uint64_t first_scan, std::uint64_t last_scan) {
  return slot.state == State::kTaking && (need.channel_mask & ~slot.channel_mask) == 0 &&
         first_scan >= slot.first_scan && last_scan + need.after_scans / 2 <= slot.end_scan;
}

bool CaptureStore::covered(const Need& need, std::uint64_t scan) {
  const auto covers_it = [&](const Slot& slot) { return covers(slot, need, scan, scan); };
  if (covering_ != nullptr && covers_it(*covering_)) return true;
  const auto found = std::ranges::find_if(slots_, covers_it);
  covering_ = found == slots_.end() ? nullptr : &*found;
  return covering_ != nullptr;
}

bool CaptureStore::answers_alike(std::uint64_t first_scan, std::uint64_t last_scan) const {
  if (covering_ != nullptr && covers(*covering_, need_all_, first_scan, last_scan)) return true;
  return full_ && std::ranges::none_of(slots_, [](const Slot& slot) { return slot.state == State::kTaking; });
}

void CaptureStore::trigger_alike(std::uint32_t count, std::uint64_t last_scan) {
  if (!covered(need_all_, last_scan)) turn_away(count, last_scan);
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
      pages += pages_for(slot.end_scan - slot.next_scan, slot.channel_mask);
  }
  return pages;
}

CaptureStore::Slot* CaptureStore::free_slot(const CaptureTrigger& trigger, std::size_t pages_asked) {
  const bool edge = trigger.cause == CaptureCause::kEdge;
  std::size_t kept = edge ? 0 : kEdgeSlots + (trigger.ordinary ? kSteadySlots : 0);
  for (const Slot& slot : slots_) {
    // The edge slot is in use only when an edge took it: then it need not be kept as well.
    if (slot.state != State::kFree && slot.trigger.cause == CaptureCause::kEdge && kept > 0) --kept;
  }
  const auto free = static_cast<std::size_t>(
      std::ranges::count_if(slots_, [](const Slot& slot) { return slot.state == State::kFree; }));
  // One whole capture is worth more than two cut short; an edge begins with whatever room there is.
  const std::size_t pages = edge ? 1 : kEdgePages + pages_promised() + pages_asked;
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
  const CaptureGroup& group = group_of(trigger.channel);
  const Need need{.channel_mask = group.channel_mask, .after_scans = group.after_scans};
  if (covered(need, trigger.scan)) return true;
  if (trigger.ordinary && trigger.scan < ordinary_from_) return false;
  Slot* slot = full ? nullptr : free_slot(trigger, pages_for(group.scans(), group.channel_mask));
  if (slot == nullptr) {
    if (trigger.ordinary) return false;
    full_from_ = full ? std::min(full_from_, trigger.scan) : trigger.scan;
    full_ = full_ || (!edge && free_slot(trigger, pages_least_) == nullptr);
    turn_away(1, trigger.scan);
    return false;
  }
  full_ = false;  // it may cover what the others do not
  *slot = Slot{};
  slot->state = State::kTaking;
  if (++captures_ == 0) ++captures_;
  slot->capture = captures_;
  slot->trigger = trigger;
  slot->channel_mask = group.channel_mask;
  slot->first_scan =
      std::max(ring_.first_scan(), trigger.scan - std::min<std::uint64_t>(trigger.scan, group.before_scans));
  slot->next_scan = slot->first_scan;
  slot->end_scan = trigger.scan + group.after_scans;
  return true;
}

void CaptureStore::close() {
  for (Slot& slot : slots_) {
    if (slot.state != State::kTaking || slot.end_scan <= ring_.next_scan()) continue;
    slot.scans_cut = static_cast<std::uint32_t>(slot.end_scan - ring_.next_scan());
    slot.end_scan = ring_.next_scan();
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
    end_taking(*slot);
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
  std::uint32_t left = slot.channel_mask;
  while (left != 0 && slot.state == State::kTaking) {
    left = pack_scans(left, scans, take, packed_);
    store(slot, scans);
  }
  if (slot.state == State::kTaking) slot.next_scan += scans;
}

void CaptureStore::store(Slot& slot, std::uint32_t scan_count) {
  const std::size_t kept = slot.trigger.cause == CaptureCause::kEdge ? 0 : kEdgePages;
  if (PagePool::pages_needed(slot.chain, kHeadBytes + packed_.bytes) + kept > pool_.free_pages()) {
    end_taking(slot);
    return;
  }
  pool_.append(slot.chain, head_of(static_cast<std::uint32_t>(slot.next_scan - slot.first_scan), scan_count, packed_));
  pool_.append(slot.chain, std::span(packed_.body).first(packed_.bytes));
  ++slot.pieces;
}

// What was packed so far is sent; where that is not all, the host is told how much is missing.
void CaptureStore::end_taking(Slot& slot) {
  if (slot.next_scan < slot.end_scan) {
    slot.scans_cut += static_cast<std::uint32_t>(slot.end_scan - slot.next_scan);
    count_up(slot.pieces == 0 ? health_.captures_dropped : health_.captures_cut);
  }
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
  out.scans_cut = slot->scans_cut;
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
