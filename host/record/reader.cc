// SPDX-License-Identifier: Apache-2.0
#include "host/record/reader.h"

#include <algorithm>
#include <array>
#include <cerrno>
#include <utility>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "host/record/note.h"
#include "host/record/system_error.h"
#include "proto/wire/frame.h"

namespace host::record {
namespace {

constexpr std::size_t kChunkBytes = std::size_t{1} << 20;

}  // namespace

std::expected<Reader, RecordError> Reader::open(const std::string& path) {
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  if (file < 0) return std::unexpected(system_error(errno, "open the recording", path));
  struct stat facts{};
  ::fstat(file, &facts);
  Reader reader(file, path, static_cast<std::uint64_t>(facts.st_size));
  if (!S_ISREG(facts.st_mode)) {
    return std::unexpected(RecordError{RecordFault::kForeign, path + ": not a file"});
  }
  if (facts.st_size == 0) {
    return std::unexpected(
        RecordError{RecordFault::kEmpty, path + ": the file is empty; a recording starts with its header"});
  }
  if (auto header = reader.read_header(); !header) return std::unexpected(header.error());
  return reader;
}

Reader::Reader(Reader&& other) noexcept
    : file_(std::exchange(other.file_, -1)),
      path_(std::move(other.path_)),
      bytes_(other.bytes_),
      offset_(other.offset_),
      header_(std::move(other.header_)),
      buffer_(std::move(other.buffer_)) {}

Reader::~Reader() {
  if (file_ >= 0) ::close(file_);
}

std::expected<void, RecordError> Reader::read_header() {
  std::array<std::byte, wire::kFrameBytesMax> start_buffer;
  const auto start = read(start_buffer);
  if (!start) return std::unexpected(start.error());
  offset_ = 0;
  const auto end = std::find(start->begin(), start->end(), wire::kDelimiter);
  const auto foreign = [&](const std::string& why) {
    return std::unexpected(RecordError{RecordFault::kForeign, path_ + ": not a recording of this program: " + why});
  };
  if (end == start->end()) return foreign("no header at its start, or cut inside it");
  std::array<std::byte, wire::kFrameBytesMax> payload_buffer;
  const auto payload = wire::decode_frame({start->begin(), end}, payload_buffer);
  steadyrail::proto::RecordedNote recorded;
  if (!payload || payload->empty() || payload->front() != kNoteTag ||
      !recorded.ParseFromArray(payload->data(), static_cast<int>(payload->size())) || !recorded.note().has_header()) {
    return foreign("its first frame is not a recording's header");
  }
  header_ = recorded.note().header();
  if (header_.format_version() != kFormatVersion) {
    return std::unexpected(
        RecordError{RecordFault::kVersion, path_ + ": recording format " + std::to_string(header_.format_version()) +
                                               ", written by version " + header_.host_version() +
                                               "; this program reads format " + std::to_string(kFormatVersion)});
  }
  return {};
}

std::expected<std::span<const std::byte>, RecordError> Reader::next() {
  buffer_.resize(kChunkBytes);
  return read(buffer_);
}

std::expected<std::span<const std::byte>, RecordError> Reader::read(std::span<std::byte> into) {
  for (;;) {  // ends: only an interrupted call is repeated
    const ssize_t got = ::pread(file_, into.data(), into.size(), static_cast<off_t>(offset_));
    if (got >= 0) {
      offset_ += static_cast<std::uint64_t>(got);
      return into.first(static_cast<std::size_t>(got));
    }
    if (errno != EINTR) return std::unexpected(system_error(errno, "read the recording", path_));
  }
}

}  // namespace host::record
