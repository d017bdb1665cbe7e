// SPDX-License-Identifier: Apache-2.0
// Reads a recording, cut anywhere: what stands is given, in chunks, as it was written.
#pragma once

#include <cstddef>
#include <cstdint>
#include <expected>
#include <span>
#include <string>
#include <vector>

#include "host/record/error.h"
#include "recording.pb.h"

namespace host::record {

/// Chunks are read into one buffer, not mapped: a file that another program cuts meanwhile ends early, and nothing
/// faults.
class Reader {
 public:
  /// Opens `path` and reads its header. kNotThere, kPermission, kEmpty, kForeign (no header of ours at its start, or
  /// cut inside it), kVersion.
  static std::expected<Reader, RecordError> open(const std::string& path);
  Reader(Reader&& other) noexcept;
  Reader& operator=(Reader&&) = delete;
  ~Reader();

  const steadyrail::proto::RecordingHeader& header() const { return header_; }
  std::uint64_t bytes() const { return bytes_; }    // of the file when it was opened
  std::uint64_t offset() const { return offset_; }  // of the next chunk

  /// The next chunk, from the header's first byte on; empty at the end. Valid until the next call. kIo.
  std::expected<std::span<const std::byte>, RecordError> next();
  /// Goes on at `offset`, which must be the start of a frame.
  void seek(std::uint64_t offset) { offset_ = offset; }

 private:
  Reader(int file, std::string path, std::uint64_t bytes) : file_(file), path_(std::move(path)), bytes_(bytes) {}
  std::expected<void, RecordError> read_header();
  std::expected<std::span<const std::byte>, RecordError> read(std::span<std::byte> into);

  int file_ = -1;
  std::string path_;
  std::uint64_t bytes_ = 0;
  std::uint64_t offset_ = 0;
  steadyrail::proto::RecordingHeader header_;
  std::vector<std::byte> buffer_;
};

}  // namespace host::record
