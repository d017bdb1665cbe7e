// SPDX-License-Identifier: Apache-2.0
// What is recorded and what is decoded, live: one stream, so that a review finds exactly what the watch found.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <utility>
#include <vector>

#include "host/decode/decoder.h"
#include "host/link/host_clock.h"
#include "host/record/writer.h"
#include "recording.pb.h"

namespace host::link {

/// Gives the wire's bytes on frame by frame, each time mark preceded by a note of its arrival. Holds back at most one
/// unfinished frame, so that notes can stand between frames at any time.
class Tape {
 public:
  /// `writer` may be nullptr. References must outlive the tape. `marked`, if any, is told of each time mark just before
  /// its frame is given on, and may note.
  Tape(HostClock& clock, record::Writer* writer, decode::Decoder& decoder,
       std::function<void(std::uint64_t scan)> marked = {})
      : clock_(clock), writer_(writer), decoder_(decoder), marked_(std::move(marked)) {}

  /// To the decoder alone: a writer has written its header already.
  void header(const steadyrail::proto::RecordingHeader& header);
  void wire(std::span<const std::byte> bytes);
  void note(const steadyrail::proto::HostNote& note);
  /// Gives on an unfinished frame, ended by a delimiter of the host's own: nothing more of it will come.
  void end_frame();

 private:
  void take_frame();
  void emit(std::span<const std::byte> bytes);

  HostClock& clock_;
  record::Writer* writer_;
  decode::Decoder& decoder_;
  std::function<void(std::uint64_t scan)> marked_;
  std::vector<std::byte> held_;
  std::vector<steadyrail::proto::HostNote> notes_;  // waiting for the end of an overlong run
  bool overlong_ = false;  // the run now coming is too long to be a frame and passes through as it comes
};

}  // namespace host::link
