// SPDX-License-Identifier: Apache-2.0
// Small records that outlive power: appended to one of two sectors, each with its checksum; the latest of a kind
// counts. A full sector is copied to the other one, whose head is written last. Power lost anywhere leaves the older
// records.
//
//   sector:  generation | its complement | mark | records...          the mark is programmed last
//   record:  head (mark, kind, bytes) | content, padded to words | CRC-32C of head and content
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/board/stm32f405/flash_sectors.h"
#include "firmware/hal/nonvolatile_store.h"

namespace firmware::chip {

enum class RecordKind : std::uint8_t { kIdentity = 1, kCalibration = 2, kBoots = 3 };
inline constexpr std::size_t kRecordKinds = 4;        // 0 is none
inline constexpr std::size_t kRecordBytesMax = 1024;  // of content

class RecordStore {
 public:
  explicit RecordStore(FlashSectors& flash) : flash_(flash) {}

  /// Finds what the sectors hold. False when neither holds anything that can be read; the first append() formats one.
  bool load();

  /// Bytes of the latest record of a kind; 0: none.
  std::size_t bytes(RecordKind kind) const;
  /// Its content from byte `from` on into `out`; returns how many bytes there are or fit.
  std::size_t read(RecordKind kind, std::span<std::byte> out, std::size_t from = 0) const;

  /// Only while the jig is stopped: an erase takes its time. Without `may_erase` it is not begun.
  Stored append(RecordKind kind, std::span<const std::byte> content, bool may_erase);

 private:
  struct Place {
    std::uint32_t index = 0;  // of the head's word; 0: none
    std::uint32_t bytes = 0;
  };

  void scan(std::size_t sector);
  bool sound(std::size_t sector, std::size_t index, std::uint32_t bytes) const;
  bool put(std::size_t sector, std::size_t& index, RecordKind kind, std::span<const std::byte> content);
  bool move_to_other();
  bool has_room(std::size_t bytes) const;

  FlashSectors& flash_;
  std::size_t sector_ = 0;
  std::uint32_t generation_ = 0;    // 0: nothing readable
  std::size_t end_ = kSectorWords;  // first word not used; kSectorWords: no room, or none that can be trusted
  std::array<Place, kRecordKinds> latest_{};
};

}  // namespace firmware::chip
