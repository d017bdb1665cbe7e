// SPDX-License-Identifier: Apache-2.0
// The frames of a recording on their way to a disk that may be full: what stands in the file is always whole.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <utility>
#include <vector>

#include "host/record/output.h"

namespace host::record {

/// When the disk takes no more, the file is cut back to the end of a frame, kReserveBytes before its end where there is
/// one (room for the last notes in blocks the file already owns). From then on bytes of the wire and notes are counted
/// as lost until space returns; then a Lost note stands in their place and the wire goes on at the start of a frame.
/// Used by one thread.
class StreamFile {
 public:
  static constexpr std::size_t kReserveBytes = 512;
  static constexpr std::size_t kRoomBytes = std::size_t{1} << 20;  // free space needed to go on after a full disk

  explicit StreamFile(std::unique_ptr<Output> output) : output_(std::move(output)) {}

  /// Bytes of the wire, in order, split anywhere.
  void wire(std::span<const std::byte> bytes);
  /// A note's frame; kept for the next end of a frame where the wire stands inside one.
  void note(std::span<const std::byte> frame);
  /// Tries to go on after the disk was full; call it about once a second.
  void retry();
  /// Ends a frame left unfinished, writes the notes kept, a Lost note where one is due, and `closing`.
  /// False: not all of these found room.
  bool close(std::span<const std::byte> closing);

  Output& output() { return *output_; }
  std::uint64_t bytes() const { return bytes_; }            // in the file
  std::uint64_t bytes_lost() const { return bytes_lost_; }  // in all
  bool full() const { return full_; }
  int error() const { return error_; }  // errno of the last fault that was not a full disk; 0: none

 private:
  void write_wire(std::span<const std::byte> bytes);
  std::size_t put_some(std::span<const std::byte> bytes);  // what fits
  bool put(std::span<const std::byte> bytes);              // all, or nothing
  void become_full(std::uint64_t refused_bytes);
  bool put_lost_note();
  void lose(std::uint64_t bytes);

  std::unique_ptr<Output> output_;
  std::vector<std::byte> notes_;  // frames waiting for the end of a frame of the wire
  std::uint64_t bytes_ = 0;
  std::uint64_t bytes_lost_ = 0;
  std::uint64_t bytes_unnoted_ = 0;  // of them, not yet in a Lost note
  std::uint64_t lost_note_at_ = 0;   // offset of the last Lost note, and what it says
  std::uint64_t lost_note_bytes_ = 0;
  bool full_ = false;
  bool between_frames_ = true;  // of the wire as it came
  bool skipping_ = false;       // the frame now coming has lost its start
  bool file_at_frame_ = true;   // the file ends with a delimiter
  int error_ = 0;
};

}  // namespace host::record
