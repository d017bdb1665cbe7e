// SPDX-License-Identifier: Apache-2.0
// The frames of a recording on their way to a disk that may be full: what stands in the file is always whole.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "host/record/output.h"

namespace host::record {

/// Not full: bytes go to the file. When the disk takes no more, the file is cut back to the end of a frame at least
/// kReserveBytes before its end (room for the last notes in blocks the file already owns), and the wire's bytes are
/// counted as lost until space returns; then a Lost note stands where they are missing and the wire goes on at the
/// start of a frame. Used by one thread.
class StreamFile {
 public:
  static constexpr std::size_t kReserveBytes = 512;

  explicit StreamFile(std::unique_ptr<Output> output) : output_(std::move(output)) {}

  /// Bytes of the wire, in order.
  void wire(std::span<const std::byte> bytes);
  /// A note's frame; kept for the next end of a frame where the wire stands inside one.
  void note(std::span<const std::byte> frame);
  /// Tries to go on after the disk was full; call it about once a second.
  void retry();
  void sync() { output_->sync(); }
  /// Ends a frame left unfinished, writes the notes kept, the Lost note and `closing`.
  void close(std::span<const std::byte> closing);

  Output& output() { return *output_; }
  std::uint64_t bytes() const { return bytes_; }
  std::uint64_t bytes_lost() const { return bytes_lost_; }
  bool full() const { return full_; }
  int error() const { return error_; }  // errno of a fault other than a full disk; 0: none

 private:
  bool write(std::span<const std::byte> bytes);  // all or nothing in effect: false has cut the file back
  void become_full();
  bool write_lost_note();
  void flush_notes();
  std::size_t wire_frames(std::span<const std::byte> bytes);

  std::unique_ptr<Output> output_;
  std::vector<std::vector<std::byte>> notes_;  // waiting for the end of a frame
  std::uint64_t bytes_ = 0;
  std::uint64_t bytes_lost_ = 0;     // all
  std::uint64_t bytes_unnoted_ = 0;  // since the last Lost note
  bool full_ = false;
  bool between_frames_ = true;  // of the wire as it came
  bool skipping_ = false;       // the frame now coming has lost its start
  int error_ = 0;
};

}  // namespace host::record
