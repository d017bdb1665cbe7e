// SPDX-License-Identifier: Apache-2.0
#include <algorithm>

#include "host/decode/decoder_state.h"
#include "host/record/note.h"

namespace host::decode {
namespace {

namespace proto = steadyrail::proto;

// A restart's hole is at least one block long, so that no reader can take it for continuous measurement.
constexpr std::uint64_t kRestartScansLeast = wire::kScansPerBlock;

}  // namespace

void Decoder::State::take_frame(std::span<const std::byte> frame) {
  if (frame.size() == 1) return;  // any number of delimiters is normal
  const auto decoded = wire::decode_frame(frame.first(frame.size() - 1), payload);
  if (!decoded) {
    if (!listening_in) damaged(frame.size());
    listening_in = false;
    return;
  }
  if (!decoded->empty() && decoded->front() == record::kNoteTag) {
    take_note(*decoded, frame.size());
    return;
  }
  listening_in = false;
  const auto envelope = read_envelope(*decoded);
  if (!envelope) {
    damaged(frame.size());
    return;
  }
  const Succession succession = sequence.take(envelope->boot, envelope->sequence);
  if (succession == Succession::kRepeated) {
    ++counts.repeated;
    return;
  }
  if (succession == Succession::kAfterLoss) {
    counts.missing += sequence.missing();
    continuity.blame(proto::LOSS_CAUSE_SEQUENCE_GAP);
  }
  if (succession == Succession::kRestart) restart(envelope->boot);
  if (!take_message(*envelope)) {
    damaged(frame.size());
    return;
  }
  ++counts.sound;
}

void Decoder::State::damaged(std::size_t bytes) {
  ++counts.damaged;
  counts.bytes_damaged += bytes;
  continuity.blame(proto::LOSS_CAUSE_DAMAGED);
}

void Decoder::State::take_overlong(std::uint64_t bytes) {
  if (!listening_in) {
    ++counts.overlong;
    counts.bytes_overlong += bytes;
    continuity.blame(proto::LOSS_CAUSE_OVERLONG);
  }
  listening_in = false;
}

void Decoder::State::restart(std::uint32_t boot) {
  continuity.blame(proto::LOSS_CAUSE_RESET);
  losses.restarted();
  story.restarted();
  marks.stretch_ended(clock);
  offset = continuity.horizon() + kRestartScansLeast;
  offset_open = true;
  clock = ClockFit(scan_rate_hz);
  sink.restarted(boot);
}

void Decoder::State::take_note(std::span<const std::byte> bytes, std::size_t frame_bytes) {
  if (!note.ParseFromArray(bytes.data(), static_cast<int>(bytes.size()))) {
    damaged(frame_bytes);
    return;
  }
  const proto::HostNote& host_note = note.note();
  switch (host_note.kind_case()) {
    case proto::HostNote::kHeader:
      take_header(host_note.header());
      return;
    case proto::HostNote::kReceived:
      mark_arrival = model::HostTime{std::chrono::microseconds(host_note.received().utc_us())};
      return;
    case proto::HostNote::kPort:
      if (host_note.port().state() == proto::PORT_STATE_GONE) continuity.blame(proto::LOSS_CAUSE_PORT_GONE);
      if (host_note.port().state() == proto::PORT_STATE_OPENED) {
        listening_in = true;
        sequence.reopened();
      }
      break;
    case proto::HostNote::kLost:
      continuity.blame(proto::LOSS_CAUSE_DISK_FULL);
      remark(std::to_string(host_note.lost().bytes()) +
             " bytes are missing from the recording: " + host_note.lost().cause());
      break;
    case proto::HostNote::kClosing:
      closing = host_note.closing().reason();
      break;
    case proto::HostNote::kMark:
      marks.note(host_note.mark());
      break;
    case proto::HostNote::kHeartbeatSilence:
      marks.silence(host_note.heartbeat_silence());
      break;
    case proto::HostNote::kHeartbeats:
      heartbeats = host_note.heartbeats();
      break;
    case proto::HostNote::KIND_NOT_SET:
      break;
  }
  sink.note(host_note);
}

void Decoder::State::take_header(const proto::RecordingHeader& told) {
  header = told;
  if (header.jig().scan_rate_hz() != 0) scan_rate_hz = header.jig().scan_rate_hz();
  clock = ClockFit(scan_rate_hz);
  sink.header(header);
}

void Decoder::State::remark(const std::string& words) {
  constexpr std::size_t kRemarksMost = 50;
  if (remarks.size() < kRemarksMost && std::find(remarks.begin(), remarks.end(), words) == remarks.end()) {
    remarks.push_back(words);
  }
}

void Decoder::State::finish() {
  finished = true;
  counts.bytes_cut = splitter.held_bytes();
  if (const auto gap = continuity.finish()) sink.gap(*gap);
  for (const std::string& words : story.remarks()) remark(words);
  for (const std::string& words : losses.remarks()) remark(words);
  if (counts.unknown != 0) {
    remark(std::to_string(counts.unknown) + (counts.unknown == 1 ? " frame" : " frames") +
           " of a kind unknown to this program passed over");
  }
  sink.finish();
}

}  // namespace host::decode
