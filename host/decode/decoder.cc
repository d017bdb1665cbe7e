// SPDX-License-Identifier: Apache-2.0
#include "host/decode/decoder.h"

#include "host/decode/decoder_state.h"

namespace host::decode {

Decoder::Decoder(Sink& sink) : state_(std::make_unique<State>(sink)) {}
Decoder::~Decoder() = default;

void Decoder::feed(std::span<const std::byte> bytes) {
  State& state = *state_;
  state.splitter.feed(
      bytes, [&](std::span<const std::byte> frame) { state.take_frame(frame); },
      [&](std::uint64_t overlong_bytes) { state.take_overlong(overlong_bytes); });
}

void Decoder::resume(const steadyrail::proto::RecordingHeader& header, std::uint64_t scan_offset) {
  state_->take_header(header);
  state_->offset = scan_offset;
}

void Decoder::finish() {
  if (!state_->finished) state_->finish();
}

const FrameCounts& Decoder::counts() const {
  return state_->counts;
}
const ClockFit& Decoder::clock() const {
  return state_->clock;
}
const std::optional<steadyrail::proto::Hello>& Decoder::hello() const {
  return state_->hello;
}
const std::vector<std::string>& Decoder::remarks() const {
  return state_->remarks;
}
std::uint64_t Decoder::scan_offset() const {
  return state_->offset;
}
std::uint64_t Decoder::end_scan() const {
  return state_->continuity.end_scan();
}

}  // namespace host::decode
