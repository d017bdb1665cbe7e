// SPDX-License-Identifier: Apache-2.0
// The decoder's inside: frames, then messages, each to the sink.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "host/decode/continuity.h"
#include "host/decode/decoder.h"
#include "host/decode/envelope.h"
#include "host/decode/event_parser.h"
#include "host/decode/frame_splitter.h"
#include "host/decode/jig_story.h"
#include "host/decode/losses.h"
#include "host/decode/mark_book.h"
#include "host/decode/sequence.h"
#include "proto/wire/frame.h"

namespace host::decode {

struct Decoder::State {
  explicit State(Sink& receiver) : sink(receiver) {}

  // Frames (decoder_frames.cc).
  void take_frame(std::span<const std::byte> frame);
  void take_overlong(std::uint64_t bytes);
  void finish();
  void damaged(std::size_t bytes);
  void restart(std::uint32_t boot);
  void take_header(const steadyrail::proto::RecordingHeader& told);
  void take_note(std::span<const std::byte> payload, std::size_t frame_bytes);
  void remark(const std::string& words);

  // Messages (decoder_messages.cc). False: not what any jig writes.
  bool take_message(const Envelope& envelope);
  bool take_hello(std::span<const std::byte> content);
  bool take_windows(const Envelope& envelope);
  bool take_capture(const Envelope& envelope);
  bool take_raw(const Envelope& envelope);
  bool take_event(std::span<const std::byte> content);
  bool take_status(std::span<const std::byte> content);
  bool take_time_mark(std::span<const std::byte> content);
  bool give_capture(CaptureBatch& batch, std::uint32_t channel_mask, std::span<const std::byte> body);

  Sink& sink;
  FrameSplitter splitter;
  std::array<std::byte, wire::kFrameBytesMax> payload;
  Sequence sequence;
  Continuity continuity;
  JigLosses losses;
  JigStory story;
  MarkBook marks;
  FrameCounts counts;
  std::vector<std::string> remarks;
  ClockFit clock{kScanRateDefaultHz};
  double scan_rate_hz = kScanRateDefaultHz;

  steadyrail::proto::RecordingHeader header;
  std::optional<steadyrail::proto::Hello> hello;
  std::string calibration_doubt;                   // of any hello so far
  std::string closing;                             // reason; empty: none yet
  steadyrail::proto::HeartbeatSummary heartbeats;  // the latest
  std::optional<model::HostTime> mark_arrival;     // of the next time mark
  std::uint64_t offset = 0;                        // session scan less scan since the jig's boot
  bool offset_open = false;                        // a time mark may still move it forward
  std::optional<model::HostTime> last_mark_host;   // the latest mark of any boot, and where it stands
  std::uint64_t last_mark_scan = 0;
  bool listening_in = true;  // the next frame may have begun before the port was opened
  bool finished = false;

  // Reused, so that a session of any length allocates once.
  steadyrail::proto::RecordedNote note;
  steadyrail::proto::WindowBlock block;
  steadyrail::proto::CaptureBlock capture_block;
  steadyrail::proto::RawBlock raw_block;
  EventParser events;
  steadyrail::proto::Status status;
  steadyrail::proto::Acknowledgement acknowledgement;
  steadyrail::proto::TimeMark time_mark;
  steadyrail::proto::RampBlock ramp_block;
  steadyrail::proto::Log log;
  wire::DecodedWindows windows;
  std::array<std::array<std::int16_t, wire::kCaptureScansMax>, wire::kChannelCount> codes;
  std::array<std::uint8_t, wire::kChannelCount> channels;

  /// Until a hello or the header says otherwise.
  static constexpr double kScanRateDefaultHz = 32'000;
};

}  // namespace host::decode
