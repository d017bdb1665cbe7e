// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/record_store.h"

#include <algorithm>

#include "proto/wire/crc32c.h"

namespace firmware::chip {
namespace {

constexpr std::uint32_t kSectorMark = 0x52454331;
constexpr std::size_t kGenerationAt = 0;
constexpr std::size_t kComplementAt = 1;
constexpr std::size_t kMarkAt = 2;
constexpr std::size_t kRecordsAt = 3;
constexpr std::uint32_t kRecordMark = 0xA5;

constexpr std::uint32_t head_of(RecordKind kind, std::size_t bytes) {
  return kRecordMark << 24 | static_cast<std::uint32_t>(kind) << 16 | static_cast<std::uint32_t>(bytes);
}

constexpr std::size_t words_of(std::size_t bytes) {
  return (bytes + 3) / 4;
}

constexpr std::size_t record_words(std::size_t bytes) {
  return 1 + words_of(bytes) + 1;
}

/// Word `k` of the content, little-endian, padded with zeros.
std::uint32_t word_of(std::span<const std::byte> content, std::size_t k) {
  std::uint32_t word = 0;
  for (std::size_t b = 0; b < 4 && 4 * k + b < content.size(); ++b) {
    word |= std::to_integer<std::uint32_t>(content[4 * k + b]) << (8 * b);
  }
  return word;
}

std::uint32_t add_word(std::uint32_t check, std::uint32_t word) {
  std::array<std::byte, 4> bytes;
  for (std::size_t b = 0; b < 4; ++b) bytes[b] = static_cast<std::byte>(word >> (8 * b));
  return wire::crc32c(bytes, check);
}

}  // namespace

bool RecordStore::load() {
  generation_ = 0;
  for (std::size_t sector = 0; sector < 2; ++sector) {
    const std::uint32_t generation = flash_.word(sector, kGenerationAt);
    const bool whole = flash_.word(sector, kMarkAt) == kSectorMark && generation != 0 &&
                       flash_.word(sector, kComplementAt) == ~generation;
    if (!whole || generation <= generation_) continue;
    generation_ = generation;
    sector_ = sector;
  }
  if (generation_ == 0) return false;
  scan(sector_);
  return true;
}

void RecordStore::scan(std::size_t sector) {
  latest_ = {};
  end_ = kSectorWords;
  for (std::size_t at = kRecordsAt; at < kSectorWords;) {
    const std::uint32_t head = flash_.word(sector, at);
    const std::uint32_t bytes = head & 0xFFFF;
    const std::uint32_t kind = head >> 16 & 0xFF;
    if (head == kErasedWord) {
      end_ = at;
      break;
    }
    // A head torn by a loss of power says nothing of where the next record would be.
    if (head >> 24 != kRecordMark || bytes > kRecordBytesMax || at + record_words(bytes) > kSectorWords) break;
    if (kind != 0 && kind < kRecordKinds && sound(sector, at, bytes)) {
      latest_[kind] = {.index = static_cast<std::uint32_t>(at), .bytes = bytes};
    }
    at += record_words(bytes);
  }
  // Beyond a torn record there may be words that only look erased at the first glance.
  for (std::size_t at = end_; at < kSectorWords; ++at) {
    if (flash_.word(sector, at) == kErasedWord) continue;
    end_ = kSectorWords;
  }
}

bool RecordStore::sound(std::size_t sector, std::size_t index, std::uint32_t bytes) const {
  std::uint32_t check = 0;
  for (std::size_t k = 0; k <= words_of(bytes); ++k) {
    const std::uint32_t word = flash_.word(sector, index + k);
    check = add_word(check, word);
  }
  return flash_.word(sector, index + 1 + words_of(bytes)) == check;
}

std::size_t RecordStore::bytes(RecordKind kind) const {
  return latest_[static_cast<std::size_t>(kind)].bytes;
}

std::size_t RecordStore::read(RecordKind kind, std::span<std::byte> out, std::size_t from) const {
  const Place& place = latest_[static_cast<std::size_t>(kind)];
  if (place.index == 0 || from > place.bytes) return 0;
  const std::size_t count = std::min<std::size_t>(out.size(), place.bytes - from);
  for (std::size_t k = 0; k < count; ++k) {
    const std::size_t at = from + k;
    out[k] = static_cast<std::byte>(flash_.word(sector_, place.index + 1 + at / 4) >> (8 * (at % 4)));
  }
  return count;
}

bool RecordStore::has_room(std::size_t bytes) const {
  return generation_ != 0 && end_ + record_words(bytes) <= kSectorWords;
}

Stored RecordStore::append(RecordKind kind, std::span<const std::byte> content, bool may_erase) {
  if (content.size() > kRecordBytesMax) return Stored::kTooLong;
  if (!has_room(content.size())) {
    if (!may_erase) return Stored::kEraseNeeded;
    if (!move_to_other()) return Stored::kFailed;
  }
  if (!has_room(content.size())) return Stored::kTooLong;
  const std::size_t at = end_;
  if (!put(sector_, end_, kind, content)) {
    end_ = kSectorWords;  // what lies there now is unknown: the next one goes to the other sector
    return Stored::kFailed;
  }
  latest_[static_cast<std::size_t>(kind)] = {.index = static_cast<std::uint32_t>(at),
                                             .bytes = static_cast<std::uint32_t>(content.size())};
  return Stored::kDone;
}

bool RecordStore::put(std::size_t sector, std::size_t& index, RecordKind kind, std::span<const std::byte> content) {
  const std::uint32_t head = head_of(kind, content.size());
  std::uint32_t check = add_word(0, head);
  if (!flash_.program(sector, index, head)) return false;
  for (std::size_t k = 0; k < words_of(content.size()); ++k) {
    const std::uint32_t word = word_of(content, k);
    check = add_word(check, word);
    if (!flash_.program(sector, index + 1 + k, word)) return false;
  }
  if (!flash_.program(sector, index + 1 + words_of(content.size()), check)) return false;
  index += record_words(content.size());
  return true;
}

// The sector in use stays as it is until the other one's mark says that everything is there.
bool RecordStore::move_to_other() {
  const std::size_t other = generation_ == 0 ? 0 : 1 - sector_;
  const std::uint32_t generation = generation_ + 1;
  if (!flash_.erase(other) || !flash_.program(other, kGenerationAt, generation) ||
      !flash_.program(other, kComplementAt, ~generation)) {
    return false;
  }
  std::size_t end = kRecordsAt;
  std::array<Place, kRecordKinds> moved{};
  for (std::size_t kind = 1; kind < kRecordKinds && generation_ != 0; ++kind) {
    const Place& place = latest_[kind];
    if (place.index == 0) continue;
    moved[kind] = {.index = static_cast<std::uint32_t>(end), .bytes = place.bytes};
    for (std::size_t k = 0; k < record_words(place.bytes); ++k) {
      if (!flash_.program(other, end++, flash_.word(sector_, place.index + k))) return false;
    }
  }
  if (!flash_.program(other, kMarkAt, kSectorMark)) return false;
  sector_ = other;
  generation_ = generation;
  latest_ = moved;
  end_ = end;
  return true;
}

}  // namespace firmware::chip
