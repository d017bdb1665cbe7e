// SPDX-License-Identifier: Apache-2.0
#include "tests/simulation/jig_frames.h"

#include <array>
#include <memory>
#include <span>

#include "host/record/note.h"
#include "proto/wire/capture_codec.h"
#include "proto/wire/frame.h"
#include "proto/wire/window_codec.h"

namespace testing_jig {

using namespace steadyrail::proto;

Bytes join(std::initializer_list<Bytes> parts) {
  Bytes all;
  for (const Bytes& part : parts) all.insert(all.end(), part.begin(), part.end());
  return all;
}

Bytes note(const HostNote& note) {
  return host::record::note_frame(note).value();
}

Bytes header_note() {
  HostNote made;
  made.mutable_header()->set_format_version(host::record::kFormatVersion);
  made.mutable_header()->set_started_utc_us(1'767'225'600'000'000);  // 2026-01-01T00:00:00Z
  made.mutable_header()->mutable_jig()->set_scan_rate_hz(32'000);
  return note(made);
}

Bytes received_note(std::uint64_t utc_us) {
  HostNote made;
  made.mutable_received()->set_utc_us(utc_us);
  return note(made);
}

Bytes port_note(PortState state) {
  HostNote made;
  made.mutable_port()->set_state(state);
  return note(made);
}

Bytes lost_note(std::uint64_t bytes) {
  HostNote made;
  made.mutable_lost()->set_bytes(bytes);
  made.mutable_lost()->set_cause("disk-full");
  return note(made);
}

Bytes closing_note(const std::string& reason) {
  HostNote made;
  made.mutable_closing()->set_reason(reason);
  return note(made);
}

std::int16_t window_min_code(std::size_t channel, std::uint64_t first_scan) {
  return static_cast<std::int16_t>(static_cast<int>(channel) * 1000 - 12'000 + static_cast<int>(first_scan / 32 % 97));
}

Bytes JigFrames::frame(JigToHost message, const Bytes& body) {
  message.set_sequence(++sequence_);
  message.set_boot(boot_);
  if (!body.empty()) message.set_body(body.data(), body.size());
  const std::string payload = message.SerializeAsString();
  Bytes out(wire::cobs_bytes_max(payload.size() + wire::kCrcBytes) + 1);
  out.resize(wire::encode_frame(std::as_bytes(std::span(payload)), out));
  return out;
}

Bytes JigFrames::hello(std::uint64_t scan, std::uint32_t protocol_version, const std::string& jig_id) {
  JigToHost message;
  auto& hello = *message.mutable_hello();
  hello.set_protocol_version(protocol_version);
  hello.set_jig_id(jig_id);
  hello.set_firmware("test");
  hello.set_scan_rate_hz(32'000);
  hello.set_channel_count(wire::kChannelCount);
  hello.set_scan(scan);
  return frame(message);
}

Bytes JigFrames::acknowledgement(std::uint32_t id, std::uint64_t scan, Refusal refusal) {
  JigToHost message;
  message.mutable_acknowledgement()->set_id(id);
  message.mutable_acknowledgement()->set_refusal(refusal);
  message.mutable_acknowledgement()->set_scan(scan);
  return frame(message);
}

Bytes JigFrames::status(std::uint64_t scan, bool running) {
  JigToHost message;
  message.mutable_status()->set_scan(scan);
  message.mutable_status()->set_running(running);
  return frame(message);
}

Bytes JigFrames::time_mark(std::uint64_t scan) {
  JigToHost message;
  message.mutable_time_mark()->set_scan(scan);
  return frame(message);
}

Bytes JigFrames::log(std::uint32_t code) {
  JigToHost message;
  message.mutable_log()->set_code(code);
  return frame(message);
}

Bytes JigFrames::excursion(std::uint32_t channel, std::uint64_t start_scan, std::uint64_t end_scan) {
  JigToHost message;
  auto& excursion = *message.mutable_event()->mutable_excursion();
  excursion.set_channel(channel);
  excursion.set_side(SIDE_LOW);
  excursion.set_start_scan(start_scan);
  excursion.set_end_scan(end_scan);
  excursion.set_extreme_scan(start_scan);
  return frame(message);
}

Bytes JigFrames::windows(std::uint64_t first_scan, std::uint32_t window_count, std::uint32_t scans_per_window) {
  const auto block = std::make_unique<wire::WindowBlock>();
  block->scans_per_window = scans_per_window;
  block->window_count = window_count;
  for (std::size_t channel = 0; channel < wire::kChannelCount; ++channel) {
    wire::WindowColumns& columns = block->channels[channel];
    for (std::uint32_t w = 0; w < window_count; ++w) {
      const std::int16_t low = window_min_code(channel, first_scan + std::uint64_t{w} * scans_per_window);
      columns.min[w] = low;
      columns.max[w] = static_cast<std::int16_t>(low + 100);
      columns.sum[w] = (low + 50) * static_cast<std::int32_t>(scans_per_window);
      columns.m2[w] = std::int64_t{25} * scans_per_window * scans_per_window;
      columns.below[w] = 0;
      columns.above[w] = 0;
    }
  }
  Bytes body(wire::kWindowBodyBytesMax);
  body.resize(wire::encode_windows(*block, body));
  JigToHost message;
  message.mutable_windows()->set_first_scan(first_scan);
  message.mutable_windows()->set_scans_per_window(scans_per_window);
  message.mutable_windows()->set_window_count(window_count);
  return frame(message, body);
}

Bytes JigFrames::capture(std::uint32_t capture, std::uint64_t first_scan, std::uint32_t remaining) {
  constexpr std::size_t kScans = 32;
  constexpr std::uint32_t kMask = 0b1001;
  Bytes body;
  for (const std::size_t channel : {0u, 3u}) {
    std::array<std::int16_t, kScans> codes;
    for (std::size_t s = 0; s < kScans; ++s) codes[s] = static_cast<std::int16_t>(channel * 100 + s);
    Bytes column(wire::kCaptureColumnBytesMax);
    column.resize(wire::encode_capture_column(codes, column));
    body.insert(body.end(), column.begin(), column.end());
  }
  JigToHost message;
  auto& block = *message.mutable_capture();
  block.set_capture(capture);
  block.set_cause(CAPTURE_CAUSE_LOAD_STEP);
  block.set_trigger_scan(first_scan + 10);
  block.set_first_scan(first_scan);
  block.set_scan_count(kScans);
  block.set_channel_mask(kMask);
  block.set_remaining(remaining);
  return frame(message, body);
}

}  // namespace testing_jig
