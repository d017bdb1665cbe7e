// SPDX-License-Identifier: Apache-2.0
#include "host/record/stream_file.h"

#include <algorithm>

#include "host/record/note.h"
#include "proto/wire/frame.h"

namespace host::record {
namespace {

constexpr std::size_t kTailBytes = 4 * wire::kFrameBytesMax;  // far enough back to meet the end of a frame

std::size_t through_first_delimiter(std::span<const std::byte> bytes) {
  const auto at = std::find(bytes.begin(), bytes.end(), wire::kDelimiter);
  return at == bytes.end() ? 0 : static_cast<std::size_t>(at - bytes.begin()) + 1;
}

}  // namespace

void StreamFile::wire(std::span<const std::byte> bytes) {
  if (bytes.empty()) return;
  if (skipping_ && !full_) {
    const std::size_t start = through_first_delimiter(bytes);
    lose(start == 0 ? bytes.size() : start);
    if (start == 0) return;
    skipping_ = false;
    between_frames_ = true;
    // What was lost while skipping belongs to the loss already noted in the file; a note of its own follows it.
    put_lost_note();
    bytes = bytes.subspan(start);
    if (bytes.empty()) return;
  }
  if (!notes_.empty() && !full_) {
    const std::size_t start = between_frames_ ? 0 : through_first_delimiter(bytes);
    if (start != 0 || between_frames_) {
      write_wire(bytes.first(start));
      std::vector<std::byte> kept;
      kept.swap(notes_);
      if (!full_ && !put(kept)) become_full(kept.size());
      bytes = bytes.subspan(start);
    }
  }
  write_wire(bytes);
}

void StreamFile::write_wire(std::span<const std::byte> bytes) {
  if (bytes.empty()) return;
  between_frames_ = bytes.back() == wire::kDelimiter;
  if (full_) {
    lose(bytes.size());
    return;
  }
  const std::size_t done = put_some(bytes);
  if (done < bytes.size()) become_full(bytes.size() - done);
}

void StreamFile::note(std::span<const std::byte> frame) {
  if (full_) {
    lose(frame.size());
  } else if (between_frames_ && !skipping_) {
    if (!put(frame)) become_full(frame.size());
  } else {
    notes_.insert(notes_.end(), frame.begin(), frame.end());
  }
}

std::size_t StreamFile::put_some(std::span<const std::byte> bytes) {
  std::size_t done = 0;
  while (done < bytes.size()) {
    const auto taken = output_->append(bytes.subspan(done));
    if (!taken) error_ = taken.error();
    if (!taken || *taken == 0) break;
    done += *taken;
  }
  bytes_ += done;
  if (done != 0) file_at_frame_ = bytes[done - 1] == wire::kDelimiter;
  return done;
}

bool StreamFile::put(std::span<const std::byte> bytes) {
  const bool at_frame = file_at_frame_;
  const std::size_t done = put_some(bytes);
  if (done == bytes.size()) return true;
  bytes_ -= done;
  output_->cut(bytes_);
  file_at_frame_ = at_frame;
  return false;
}

void StreamFile::become_full(std::uint64_t refused_bytes) {
  full_ = true;
  lose(refused_bytes + notes_.size());
  notes_.clear();
  std::vector<std::byte> tail(kTailBytes);
  tail.resize(output_->tail(tail));
  const auto last_end = [&](std::size_t limit) {
    for (std::size_t at = std::min(limit, tail.size()); at > 0; --at) {
      if (tail[at - 1] == wire::kDelimiter) return at;
    }
    return std::size_t{0};
  };
  std::size_t keep = tail.size() > kReserveBytes ? last_end(tail.size() - kReserveBytes) : 0;
  if (keep == 0) keep = last_end(tail.size());
  if (keep == 0) return;  // one endless frame of noise: it is ended with a delimiter later
  const std::uint64_t removed = tail.size() - keep;
  lose(removed);
  bytes_ -= removed;
  output_->cut(bytes_);
  file_at_frame_ = true;
  if (lost_note_bytes_ != 0 && bytes_ <= lost_note_at_) {
    bytes_unnoted_ += lost_note_bytes_;
    lost_note_bytes_ = 0;
  }
}

void StreamFile::lose(std::uint64_t bytes) {
  bytes_lost_ += bytes;
  bytes_unnoted_ += bytes;
}

bool StreamFile::put_lost_note() {
  if (bytes_unnoted_ == 0) return true;
  steadyrail::proto::HostNote note;
  note.mutable_lost()->set_bytes(bytes_unnoted_);
  note.mutable_lost()->set_cause("disk-full");
  auto frame = note_frame(note).value();  // a few bytes: always fits
  if (!file_at_frame_) frame.insert(frame.begin(), wire::kDelimiter);
  const std::uint64_t at = bytes_;
  if (!put(frame)) return false;
  lost_note_at_ = at;
  lost_note_bytes_ = bytes_unnoted_;
  bytes_unnoted_ = 0;
  return true;
}

void StreamFile::retry() {
  if (!full_ || !output_->room(kRoomBytes) || !put_lost_note()) return;
  full_ = false;
  skipping_ = !between_frames_;
}

bool StreamFile::close(std::span<const std::byte> closing) {
  std::vector<std::byte> last;
  if (!file_at_frame_ && !full_) last.push_back(wire::kDelimiter);
  last.insert(last.end(), notes_.begin(), notes_.end());
  notes_.clear();
  bool whole = last.empty() || put(last);
  whole = put_lost_note() && whole;
  whole = put(closing) && whole;
  output_->cut(bytes_);  // gives back what room() claimed
  output_->sync();
  return whole;
}

}  // namespace host::record
