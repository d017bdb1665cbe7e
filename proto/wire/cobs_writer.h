// SPDX-License-Identifier: Apache-2.0
// Stuffs a payload that comes in parts, so that a frame's checksum need not be copied behind its payload first.
#pragma once

#include <cstddef>
#include <span>

namespace wire {

class CobsWriter {
 public:
  /// `out` must hold cobs_bytes_max(all bytes appended).
  explicit CobsWriter(std::byte* out) : out_(out) {}

  /// Appends the next part. It may lie in `out` behind what has been written: a payload of n bytes that begins
  /// n / 254 + 1 or more bytes into `out` is never overtaken.
  void append(std::span<const std::byte> part);

  /// Closes the last run; returns the bytes written.
  std::size_t finish();

 private:
  void close_run();

  std::byte* out_;
  std::size_t code_at_ = 0;  // where the open run's code byte goes
  std::size_t run_ = 0;      // bytes of the open run
};

}  // namespace wire
