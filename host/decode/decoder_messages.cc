// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <bit>
#include <cmath>

#include "host/decode/custody.h"
#include "host/decode/decoder_state.h"
#include "host/decode/rebase.h"

namespace host::decode {
namespace {

namespace proto = steadyrail::proto;

// No jig runs this long (292 million years at 32 kS/s): a larger index is damage, and sums stay far from overflow.
constexpr std::uint64_t kScanMost = std::uint64_t{1} << 62;

bool parse(google::protobuf::Message& message, std::span<const std::byte> bytes) {
  return message.ParseFromArray(bytes.data(), static_cast<int>(bytes.size()));
}

bool is_window_length(std::uint32_t scans) {
  return std::has_single_bit(scans) && scans >= wire::kScansPerBlock && scans <= wire::kScansPerWindowMax;
}

}  // namespace

bool Decoder::State::take_message(const Envelope& envelope) {
  switch (envelope.content_field) {
    case proto::JigToHost::kHelloFieldNumber:
      return take_hello(envelope.content);
    case proto::JigToHost::kWindowsFieldNumber:
      return take_windows(envelope);
    case proto::JigToHost::kCaptureFieldNumber:
      return take_capture(envelope);
    case proto::JigToHost::kRawFieldNumber:
      return take_raw(envelope);
    case proto::JigToHost::kEventFieldNumber:
      return take_event(envelope.content);
    case proto::JigToHost::kStatusFieldNumber:
      return take_status(envelope.content);
    case proto::JigToHost::kAcknowledgementFieldNumber:
      if (!parse(acknowledgement, envelope.content) || acknowledgement.scan() > kScanMost) return false;
      continuity.acknowledged(acknowledgement.scan() + offset);
      return true;
    case proto::JigToHost::kTimeMarkFieldNumber:
      return take_time_mark(envelope.content);
    case proto::JigToHost::kRampFieldNumber:
      if (!parse(ramp_block, envelope.content)) return false;
      story.take(ramp_block);
      return true;
    case proto::JigToHost::kLogFieldNumber:
      if (!parse(log, envelope.content)) return false;
      sink.log(log);
      return true;
    default:
      ++counts.unknown;
      return true;
  }
}

bool Decoder::State::take_hello(std::span<const std::byte> content) {
  proto::Hello said;
  if (!parse(said, content) || said.scan() > kScanMost) return false;
  if (said.protocol_version() != wire::kProtocolVersion) {
    remark("the jig speaks protocol " + std::to_string(said.protocol_version()) + ", this program " +
           std::to_string(wire::kProtocolVersion) + ": what both understand is kept");
  }
  if (!hello && said.scan_rate_hz() != 0 && said.scan_rate_hz() != scan_rate_hz) {
    scan_rate_hz = said.scan_rate_hz();
    clock = ClockFit(scan_rate_hz);
  }
  said.set_scan(said.scan() + offset);
  hello = said;
  if (calibration_doubt.empty()) calibration_doubt = decode::calibration_doubt(header, &said);
  sink.hello(said);
  return true;
}

bool Decoder::State::take_windows(const Envelope& envelope) {
  if (!parse(block, envelope.content) || block.first_scan() > kScanMost ||
      !is_window_length(block.scans_per_window()) || block.window_count() < 1 ||
      block.window_count() > wire::kWindowsPerBlock ||
      !wire::decode_windows(envelope.body, block.scans_per_window(), block.window_count(), windows)) {
    return false;
  }
  offset_open = false;
  WindowBatch batch;
  batch.first_scan = block.first_scan() + offset;
  batch.scans_per_window = block.scans_per_window();
  batch.window_count = block.window_count();
  batch.armed_set = block.armed_set();
  batch.clipped_mask = block.clipped_mask();
  batch.windows = &windows;
  const auto placed = continuity.place(batch.first_scan, batch.end_scan(), batch.scans_per_window);
  if (placed.stale) {
    ++counts.repeated;
    return true;
  }
  if (placed.gap) sink.gap(*placed.gap);
  sink.windows(batch);
  return true;
}

bool Decoder::State::give_capture(CaptureBatch& batch, std::uint32_t channel_mask, std::span<const std::byte> body) {
  if (channel_mask == 0 || channel_mask >> wire::kChannelCount != 0 || batch.scan_count < 1 ||
      batch.scan_count > wire::kCaptureScansMax || batch.first_scan > kScanMost || batch.trigger_scan > kScanMost) {
    return false;
  }
  std::size_t count = 0;
  for (std::uint8_t channel = 0; channel < wire::kChannelCount; ++channel) {
    if ((channel_mask >> channel & 1) != 0) channels[count++] = channel;
  }
  if (!wire::decode_capture(body, count, batch.scan_count, std::span(codes).first(count))) return false;
  offset_open = false;
  batch.first_scan += offset;
  batch.trigger_scan += offset;
  batch.channels = std::span(channels).first(count);
  batch.codes = std::span(codes).first(count);
  sink.capture(batch);
  return true;
}

bool Decoder::State::take_capture(const Envelope& envelope) {
  if (!parse(capture_block, envelope.content)) return false;
  CaptureBatch batch;
  batch.capture = capture_block.capture();
  batch.cause = capture_block.cause();
  batch.trigger_scan = capture_block.trigger_scan();
  batch.trigger_channel = capture_block.trigger_channel();
  batch.first_scan = capture_block.first_scan();
  batch.scan_count = capture_block.scan_count();
  batch.remaining = capture_block.remaining();
  return give_capture(batch, capture_block.channel_mask(), envelope.body);
}

bool Decoder::State::take_raw(const Envelope& envelope) {
  if (!parse(raw_block, envelope.content)) return false;
  CaptureBatch batch;
  batch.first_scan = raw_block.first_scan();
  batch.scan_count = raw_block.scan_count();
  return give_capture(batch, raw_block.channel_mask(), envelope.body);
}

bool Decoder::State::take_event(std::span<const std::byte> content) {
  proto::Event* event = events.parse(content);
  if (event == nullptr) return false;
  offset_open = false;
  if (offset != 0) rebase(*event, offset);
  if (event->has_edge() && event->edge().line() == proto::LINE_MARKER && event->edge().high()) {
    marks.button(event->edge().scan());
  }
  story.take(*event);
  sink.event(*event);
  return true;
}

bool Decoder::State::take_status(std::span<const std::byte> content) {
  if (!parse(status, content) || status.scan() > kScanMost) return false;
  losses.take(status);
  status.set_scan(status.scan() + offset);
  continuity.present(status.scan(), status.running());
  story.take(status, scan_rate_hz);
  sink.status(status);
  return true;
}

bool Decoder::State::take_time_mark(std::span<const std::byte> content) {
  if (!parse(time_mark, content) || time_mark.scan() > kScanMost) return false;
  const auto arrival = mark_arrival;
  mark_arrival.reset();
  if (arrival && offset_open && last_mark_host && *last_mark_host < *arrival) {
    // The host's clock tells how long the jig was away.
    const double away_s = std::chrono::duration<double>(arrival->since_epoch - last_mark_host->since_epoch).count();
    const auto session = last_mark_scan + static_cast<std::uint64_t>(std::llround(away_s * scan_rate_hz));
    if (session > time_mark.scan() + offset) offset = session - time_mark.scan();
    offset_open = false;
  }
  const std::uint64_t scan = time_mark.scan() + offset;
  continuity.present(scan, std::nullopt);
  if (arrival) {
    clock.add(scan, *arrival);
    last_mark_host = arrival;
    last_mark_scan = scan;
  }
  return true;
}

}  // namespace host::decode
