// SPDX-License-Identifier: Apache-2.0
// Writes a recording: every byte of the wire as it came, the host's notes only between frames, on disk within a second.
#pragma once

#include <atomic>
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <expected>
#include <memory>
#include <mutex>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include "host/model/units.h"
#include "host/record/error.h"
#include "host/record/output.h"
#include "host/record/stream_file.h"
#include "recording.pb.h"

namespace host::record {

/// How a recording ended.
struct Closed {
  std::uint64_t bytes = 0;       // in the file
  std::uint64_t bytes_lost = 0;  // of the wire, for want of space
};

/// One thread calls append(), note() and close(); a thread of its own writes and syncs, so that a slow disk never holds
/// up the reading of the line. When more than kQueueBytesMax wait for the disk, append() waits too.
class Writer {
 public:
  static constexpr std::size_t kQueueBytesMax = std::size_t{16} << 20;

  /// Creates `path`, which must not exist, and writes the header note. kExists, kNotThere, kPermission, kDiskFull,
  /// kTooLarge.
  static std::expected<std::unique_ptr<Writer>, RecordError> create(const std::string& path,
                                                                    const steadyrail::proto::RecordingHeader& header);
  /// The same on an output already open; tests give one that fails.
  static std::expected<std::unique_ptr<Writer>, RecordError> create(std::unique_ptr<Output> output,
                                                                    const steadyrail::proto::RecordingHeader& header);
  ~Writer();  // closes without a closing note, as a cut would
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;

  /// The header as written: format and host version filled in.
  const steadyrail::proto::RecordingHeader& header() const { return header_; }

  /// Appends bytes of the wire, split anywhere.
  void append(std::span<const std::byte> bytes);
  /// Appends a note after the next delimiter (at once where the wire stands at one).
  void note(const steadyrail::proto::HostNote& note);

  /// Writes what waits, a Lost note if bytes were lost, and the Closing note; then nothing more may be appended. A
  /// frame the line left unfinished is ended with a delimiter first. kDiskFull or kIo: what stands is whole, but not
  /// all.
  std::expected<Closed, RecordError> close(const std::string& reason, model::HostTime now);
  /// Removes the file: nothing was recorded.
  void discard();

  /// Bytes the disk has refused so far; not 0: tell the user now. Any thread.
  std::uint64_t bytes_lost() const { return bytes_lost_.load(std::memory_order_relaxed); }
  std::uint64_t bytes_written() const { return bytes_written_.load(std::memory_order_relaxed); }

 private:
  struct Item {
    std::vector<std::byte> bytes;
    bool is_note = false;
  };

  Writer(std::unique_ptr<Output> output, steadyrail::proto::RecordingHeader header);
  void push(std::span<const std::byte> bytes, bool is_note);
  void work();
  bool end_work();

  steadyrail::proto::RecordingHeader header_;
  StreamFile file_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::vector<Item> queue_;  // guarded by mutex_, as the next two
  std::size_t queued_bytes_ = 0;
  bool ending_ = false;
  std::atomic<std::uint64_t> bytes_lost_{0};
  std::atomic<std::uint64_t> bytes_written_{0};
  std::thread worker_;
};

}  // namespace host::record
