// SPDX-License-Identifier: Apache-2.0
#include "host/link/tape.h"

#include <array>
#include <cstring>
#include <optional>

#include "host/decode/envelope.h"
#include "host/record/note.h"
#include "link.pb.h"
#include "proto/wire/frame.h"

namespace host::link {
namespace {

namespace proto = steadyrail::proto;

// Sequence, boot and a 64-bit scan in protobuf's widest varints, with checksum, stuffing and delimiter.
constexpr std::size_t kMarkFrameBytesMax = 6 + 6 + 2 + 11 + 4 + 2;

std::optional<std::uint64_t> time_mark_scan(std::span<const std::byte> frame) {
  if (frame.size() > kMarkFrameBytesMax) return std::nullopt;
  std::array<std::byte, kMarkFrameBytesMax> buffer;
  const auto payload = wire::decode_frame(frame.first(frame.size() - 1), buffer);
  const auto envelope = payload ? decode::read_envelope(*payload) : std::nullopt;
  proto::TimeMark mark;
  if (!envelope || envelope->content_field != proto::JigToHost::kTimeMarkFieldNumber ||
      !mark.ParseFromArray(envelope->content.data(), static_cast<int>(envelope->content.size()))) {
    return std::nullopt;
  }
  return mark.scan();
}

}  // namespace

void Tape::header(const proto::RecordingHeader& header) {
  proto::HostNote note;
  *note.mutable_header() = header;
  if (const auto frame = record::note_frame(note)) decoder_.feed(*frame);
}

void Tape::wire(std::span<const std::byte> bytes) {
  while (!bytes.empty()) {
    const void* at = std::memchr(bytes.data(), 0, bytes.size());
    const bool ends = at != nullptr;
    const std::size_t count =
        ends ? static_cast<std::size_t>(static_cast<const std::byte*>(at) - bytes.data()) + 1 : bytes.size();
    const auto piece = bytes.first(count);
    bytes = bytes.subspan(count);
    if (overlong_) {
      emit(piece);
    } else {
      held_.insert(held_.end(), piece.begin(), piece.end());
      if (ends) {
        take_frame();
      } else if (held_.size() > wire::kFrameBytesMax) {
        overlong_ = true;
        emit(held_);
        held_.clear();
      }
    }
    if (!ends) return;
    overlong_ = false;
    std::vector<proto::HostNote> waiting;
    waiting.swap(notes_);
    for (const proto::HostNote& kept : waiting) note(kept);
  }
}

void Tape::take_frame() {
  if (const auto scan = time_mark_scan(held_)) {
    proto::HostNote received;
    received.mutable_received()->set_utc_us(static_cast<std::uint64_t>(clock_.mark_arrival(*scan).since_epoch.count()));
    if (marked_) marked_(*scan);
    note(received);  // last: it must stand right before the mark
  }
  emit(held_);
  held_.clear();
}

void Tape::note(const proto::HostNote& note) {
  if (overlong_) {
    notes_.push_back(note);
    return;
  }
  const auto frame = record::note_frame(note);
  if (!frame) return;
  if (writer_ != nullptr) writer_->note(note);
  decoder_.feed(*frame);
}

void Tape::end_frame() {
  if (held_.empty() && !overlong_) return;
  const std::byte delimiter = wire::kDelimiter;
  wire({&delimiter, 1});
}

void Tape::emit(std::span<const std::byte> bytes) {
  if (writer_ != nullptr) writer_->append(bytes);
  decoder_.feed(bytes);
}

}  // namespace host::link
