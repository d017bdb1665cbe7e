// SPDX-License-Identifier: Apache-2.0
// A recording at a glance: what each second holds and where in the file it begins, and the same for 16, 256, ...
// seconds. It serves drawing and skipping only: everything in it comes from the recording and is made anew when it is
// missing, damaged or older than the recording.
#pragma once

#include <array>
#include <cstdint>
#include <expected>
#include <span>
#include <string>
#include <vector>

#include "host/record/error.h"
#include "proto/wire/window.h"

namespace host::record {

/// Codes of one channel over a cell; min above max where nothing was seen.
struct IndexChannel {
  std::int16_t min = INT16_MAX;
  std::int16_t max = INT16_MIN;
  std::int32_t mean_8 = 0;  // 1/8 code
};

/// One second, or 16^k of them. A window belongs to the second in which it begins.
struct IndexCell {
  std::uint64_t offset = 0;       // in the recording, of the first frame that belongs here or later
  std::uint64_t scan_offset = 0;  // session scan less the jig's own, there
  std::uint32_t scans_seen = 0;
  std::uint32_t scans_missing = 0;  // of gaps; the longest that fits 32 bits is 37 hours
  std::uint32_t events = 0;
  std::uint32_t captures = 0;
  std::array<IndexChannel, wire::kChannelCount> channels;
};

/// What tells one state of a recording from another.
struct RecordingMark {
  std::uint64_t bytes = 0;
  std::uint32_t start_crc = 0;  // CRC-32C of the first and the last 64 KiB
  std::uint32_t end_crc = 0;
  bool operator==(const RecordingMark&) const = default;
};

std::expected<RecordingMark, RecordError> mark_of(const std::string& recording);

class SideIndex {
 public:
  static constexpr std::size_t kFactor = 16;
  static constexpr std::size_t kCellsMost = 1'000'000;  // of the finest level: eleven days

  /// "x.steadyrail" -> "x.steadyrail.index".
  static std::string path_of(const std::string& recording) { return recording + ".index"; }

  /// From cells of one second each, in order, the first of them `first_second` after scan 0.
  SideIndex(RecordingMark mark, std::uint64_t first_second, std::vector<IndexCell> seconds);

  /// kNotThere, kForeign (none, damaged, or of another recording or another state of it), kIo.
  static std::expected<SideIndex, RecordError> load(const std::string& path, const RecordingMark& mark);
  /// Writes beside and renames, so that nobody ever reads half an index.
  std::expected<void, RecordError> save(const std::string& path) const;

  std::uint64_t first_second() const { return first_second_; }
  std::size_t level_count() const { return levels_.size(); }
  /// Cells of 16^level seconds; the last may cover fewer.
  std::span<const IndexCell> level(std::size_t level) const { return levels_[level]; }
  /// The coarsest level with at least `columns` cells, or the finest there is.
  std::size_t level_for(std::size_t columns) const;

 private:
  RecordingMark mark_;
  std::uint64_t first_second_ = 0;
  std::vector<std::vector<IndexCell>> levels_;
};

}  // namespace host::record
