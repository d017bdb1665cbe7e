// SPDX-License-Identifier: Apache-2.0
#include "host/record/side_index.h"

#include <algorithm>
#include <bit>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <type_traits>

#include "host/record/system_error.h"
#include "proto/wire/crc32c.h"

namespace host::record {
namespace {

constexpr std::uint64_t kMarkBytes = std::uint64_t{64} << 10;

// The file: this head, the finest level's cells as they lie in memory, CRC-32C of all before it. Coarser levels are
// summed up on loading.
struct Head {
  std::array<char, 8> magic = {'s', 'r', 'i', 'n', 'd', 'e', 'x', '1'};
  RecordingMark mark;
  std::uint64_t first_second = 0;
  std::uint64_t cell_count = 0;
};
static_assert(std::endian::native == std::endian::little, "cells are written as they lie in memory");
static_assert(std::is_trivially_copyable_v<Head> && sizeof(Head) == 40);
static_assert(std::is_trivially_copyable_v<IndexCell> && sizeof(IndexCell) == 224, "no padding in the file");

void add(const IndexCell& fine, IndexCell& coarse) {
  const double before = coarse.scans_seen;
  const double more = fine.scans_seen;
  for (std::size_t channel = 0; channel < fine.channels.size(); ++channel) {
    const IndexChannel& from = fine.channels[channel];
    IndexChannel& to = coarse.channels[channel];
    to.min = std::min(to.min, from.min);
    to.max = std::max(to.max, from.max);
    if (more > 0) to.mean_8 = static_cast<std::int32_t>((to.mean_8 * before + from.mean_8 * more) / (before + more));
  }
  coarse.scans_seen += fine.scans_seen;
  coarse.scans_missing += fine.scans_missing;
  coarse.events += fine.events;
  coarse.captures += fine.captures;
}

std::uint32_t crc_of_stretch(std::ifstream& file, std::uint64_t from, std::uint64_t bytes) {
  std::vector<char> stretch(bytes);
  file.seekg(static_cast<std::streamoff>(from));
  file.read(stretch.data(), static_cast<std::streamsize>(bytes));
  return wire::crc32c(std::as_bytes(std::span(stretch)));
}

}  // namespace

std::expected<RecordingMark, RecordError> mark_of(const std::string& recording) {
  std::ifstream file(recording, std::ios::binary | std::ios::ate);
  if (!file) return std::unexpected(system_error(errno, "open the recording", recording));
  RecordingMark mark;
  mark.bytes = static_cast<std::uint64_t>(file.tellg());
  const std::uint64_t stretch = std::min(mark.bytes, kMarkBytes);
  mark.start_crc = crc_of_stretch(file, 0, stretch);
  mark.end_crc = crc_of_stretch(file, mark.bytes - stretch, stretch);
  return mark;
}

SideIndex::SideIndex(RecordingMark mark, std::uint64_t first_second, std::vector<IndexCell> seconds)
    : mark_(mark), first_second_(first_second) {
  levels_.push_back(std::move(seconds));
  while (levels_.back().size() > kFactor) {
    const std::vector<IndexCell>& fine = levels_.back();
    std::vector<IndexCell> coarse((fine.size() + kFactor - 1) / kFactor);
    for (std::size_t i = 0; i < fine.size(); ++i) {
      IndexCell& into = coarse[i / kFactor];
      if (i % kFactor == 0) {
        into.offset = fine[i].offset;
        into.scan_offset = fine[i].scan_offset;
      }
      add(fine[i], into);
    }
    levels_.push_back(std::move(coarse));
  }
}

std::expected<SideIndex, RecordError> SideIndex::load(const std::string& path, const RecordingMark& mark) {
  std::ifstream file(path, std::ios::binary);
  if (!file) return std::unexpected(system_error(errno, "open the index", path));
  const std::string content(std::istreambuf_iterator<char>(file), {});
  const auto unusable = [&](const char* why) {
    return std::unexpected(RecordError{RecordFault::kForeign, path + ": " + why});
  };
  Head head;
  std::uint32_t crc = 0;
  if (content.size() < sizeof head + sizeof crc) return unusable("not an index, or cut");
  std::memcpy(&head, content.data(), sizeof head);
  const std::size_t cell_bytes = content.size() - sizeof head - sizeof crc;
  std::memcpy(&crc, content.data() + sizeof head + cell_bytes, sizeof crc);
  if (head.magic != Head().magic || head.cell_count > kCellsMost || head.cell_count * sizeof(IndexCell) != cell_bytes ||
      wire::crc32c(std::as_bytes(std::span(content).first(sizeof head + cell_bytes))) != crc) {
    return unusable("not an index, or damaged");
  }
  if (head.mark != mark) return unusable("the recording has changed since");
  std::vector<IndexCell> cells(head.cell_count);
  std::memcpy(static_cast<void*>(cells.data()), content.data() + sizeof head, cell_bytes);
  return SideIndex(mark, head.first_second, std::move(cells));
}

std::expected<void, RecordError> SideIndex::save(const std::string& path) const {
  Head head;
  head.mark = mark_;
  head.first_second = first_second_;
  head.cell_count = levels_.front().size();
  const auto cells = std::as_bytes(std::span(levels_.front()));
  const std::uint32_t crc = wire::crc32c(cells, wire::crc32c(std::as_bytes(std::span(&head, 1))));
  const std::string beside = path + ".new";
  {
    std::ofstream file(beside, std::ios::binary | std::ios::trunc);
    const auto write = [&](std::span<const std::byte> bytes) {
      file.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    };
    write(std::as_bytes(std::span(&head, 1)));
    write(cells);
    write(std::as_bytes(std::span(&crc, 1)));
    file.close();
    if (!file) {
      const int number = errno;
      std::remove(beside.c_str());
      return std::unexpected(system_error(number, "write the index", path));
    }
  }
  if (std::rename(beside.c_str(), path.c_str()) != 0) {
    return std::unexpected(system_error(errno, "write the index", path));
  }
  return {};
}

std::size_t SideIndex::level_for(std::size_t columns) const {
  std::size_t level = levels_.size() - 1;
  while (level > 0 && levels_[level].size() < columns) --level;
  return level;
}

}  // namespace host::record
