// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/telemetry.h"

#include <algorithm>
#include <cstring>

namespace firmware {
namespace {

constexpr std::size_t kSmallContentBytesMax = 64;
static_assert(kSmallContentBytesMax >= steadyrail_proto_Acknowledgement_size + 3);
static_assert(kSmallContentBytesMax >= steadyrail_proto_Log_size + 3);
static_assert(kSmallContentBytesMax >= steadyrail_proto_RampBlock_size + 3 + kBodyHeadBytes);

/// Copies with a closing zero; a text that is too long is cut.
template <std::size_t Bytes>
void copy_text(std::string_view text, char (&out)[Bytes]) {
  const std::size_t bytes = std::min(text.size(), Bytes - 1);
  std::copy_n(text.begin(), bytes, out);
  out[bytes] = 0;
}

}  // namespace

Telemetry::Telemetry(SerialTransmitter& line, const NonVolatileStore& store, Health& health, WindowAccumulator& windows,
                     CaptureStore& captures, std::uint32_t sequence)
    : line_(line), store_(store), health_(health), windows_(windows), captures_(captures), sequence_(sequence) {}

void Telemetry::acknowledge(const steadyrail_proto_Acknowledgement& acknowledgement) {
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_acknowledgement_tag;
  message.content.acknowledgement = acknowledgement;
  std::array<std::byte, kSmallContentBytesMax> content;
  const std::size_t bytes = encode_content(message, content);
  // An acknowledgement that finds no room is asked for again by the host, with the same id.
  if (!acknowledgements_.push({content.data(), bytes})) count_up(health_.logs_dropped);
}

void Telemetry::say_hello() {
  hello_due_ = true;
  if (!health_.fault) return;
  log(kLogFaultInstruction, static_cast<std::int32_t>(health_.fault->instruction));
  log(kLogFaultReturn, static_cast<std::int32_t>(health_.fault->return_to));
  log(kLogFaultCause, static_cast<std::int32_t>(health_.fault->cause));
  log(kLogFaultAddress, static_cast<std::int32_t>(health_.fault->address));
}

void Telemetry::event(const steadyrail_proto_Event& event) {
  if (!offer(event)) count_up(health_.events_dropped);
}

bool Telemetry::offer(const steadyrail_proto_Event& event) {
  return push_event(event, kEventSumBytes);
}

bool Telemetry::offer_sum(const steadyrail_proto_Event& event) {
  return push_event(event, 0);
}

bool Telemetry::push_event(const steadyrail_proto_Event& event, std::size_t room_kept) {
  std::array<std::byte, kEventContentBytesMax> content;
  const std::size_t bytes = encode_event(event, content);
  return events_.room() >= bytes + room_kept && events_.push({content.data(), bytes});
}

void Telemetry::raw(std::uint64_t first_scan, const PackedBody& packed) {
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_raw_tag;
  message.content.raw = {
      .first_scan = first_scan, .scan_count = wire::kScansPerBlock, .channel_mask = packed.channel_mask};
  push_raw(message, packed);
}

void Telemetry::ramp(const steadyrail_proto_RampBlock& block, const PackedBody& packed) {
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_ramp_tag;
  message.content.ramp = block;
  push_raw(message, packed);
}

void Telemetry::push_raw(steadyrail_proto_JigToHost& message, const PackedBody& packed) {
  std::array<std::byte, kSmallContentBytesMax + kPackedBodyBytesMax> content;
  const std::size_t head = encode_content(message, content);
  std::memcpy(&content[head + kBodyHeadBytes], packed.body.data(), packed.bytes);
  const std::size_t bytes = close_body(content, head, packed.bytes);
  if (!raw_.push({content.data(), bytes})) count_up(health_.raw_dropped);
}

void Telemetry::log(std::uint32_t code, std::int32_t value) {
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_log_tag;
  message.content.log = {.code = code, .value = value};
  std::array<std::byte, kSmallContentBytesMax> content;
  const std::size_t bytes = encode_content(message, content);
  if (!logs_.push({content.data(), bytes})) count_up(health_.logs_dropped);
}

void Telemetry::on_block() {
  if (health_.next_scan - time_mark_scan_ >= kTimeMarkScans) time_mark_due_ = true;
  if (health_.next_scan - status_scan_ >= kStatusScans) status_due_ = true;
  const std::int64_t line = line_bytes_per_s_;
  event_credit_bytes_ = std::min(event_credit_bytes_ + line * kEventSharePercent / 100 / 1000, line / 10);
}

bool Telemetry::pump() {
  if (frame_bytes_ != 0) {
    const std::size_t taken = line_.try_write(std::span(frame_).subspan(frame_sent_, frame_bytes_ - frame_sent_));
    frame_sent_ += taken;
    if (frame_sent_ == frame_bytes_) frame_bytes_ = 0;
    return taken != 0;
  }
  if (encoder_) return step_windows();
  return line_.room() != 0 && build_next();
}

bool Telemetry::drained() {
  return frame_bytes_ == 0 && acknowledgements_.empty() && events_.empty() && raw_.empty() && logs_.empty() &&
         captures_.empty() && !hello_due_ && !calibration_due_ && !status_due_ && !last_status_due_ &&
         !time_mark_due_ && windows_.waiting() == nullptr;
}

bool Telemetry::build_next() {
  return build_urgent() || build_event() || begin_windows() || build_ramp() || build_capture() || build_rest();
}

bool Telemetry::build_urgent() {
  if (!acknowledgements_.empty()) {
    build_from(acknowledgements_);
  } else if (hello_due_) {
    build_hello();
  } else if (calibration_due_) {
    build_calibration();
  } else if (time_mark_due_) {
    build_time_mark();
  } else if (status_due_) {
    build_status();
  } else {
    return false;
  }
  return true;
}

bool Telemetry::build_event() {
  const bool windows_first = event_credit_bytes_ <= 0 && windows_.waiting() != nullptr;
  if (events_.empty() || windows_first) return false;
  build_from(events_);
  event_credit_bytes_ -= static_cast<std::int64_t>(frame_bytes_);
  return true;
}

bool Telemetry::build_ramp() {
  if (!raw_first_ || raw_.empty()) return false;
  build_from(raw_);
  return true;
}

bool Telemetry::build_rest() {
  if (!raw_.empty()) {
    build_from(raw_);
  } else if (!logs_.empty()) {
    build_from(logs_);
  } else if (last_status_due_ && captures_.empty()) {
    last_status_due_ = false;
    build_status();
  } else {
    return false;
  }
  return true;
}

void Telemetry::begin_payload() {
  ++sequence_;
  payload_bytes_ = encode_prefix(sequence_, store_.boot_count(), payload());
}

void Telemetry::put_message(steadyrail_proto_JigToHost& message) {
  payload_bytes_ += encode_content(message, payload().subspan(payload_bytes_));
}

void Telemetry::finish_frame() {
  frame_bytes_ =
      wire::encode_frame(payload().first(payload_bytes_), std::span(frame_).first(kHeadRoom + payload_bytes_));
  frame_sent_ = 0;
}

template <std::size_t Bytes>
void Telemetry::build_from(ByteQueue<Bytes>& queue) {
  begin_payload();
  payload_bytes_ += queue.pop(payload().subspan(payload_bytes_));
  finish_frame();
}

void Telemetry::build_hello() {
  hello_due_ = false;
  const Identity& identity = store_.identity();
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_hello_tag;
  steadyrail_proto_Hello& hello = message.content.hello;
  hello.protocol_version = wire::kProtocolVersion;
  copy_text(identity.jig_id, hello.jig_id);
  copy_text(identity.firmware, hello.firmware);
  copy_text(identity.calibration_id, hello.calibration_id);
  hello.mode = static_cast<steadyrail_proto_JigMode>(health_.mode);
  hello.scan_rate_hz = identity.scan_rate_hz;
  hello.channel_count = wire::kChannelCount;
  hello.channel_names_count = wire::kChannelCount;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) copy_text(identity.channel_names[c], hello.channel_names[c]);
  hello.scan = health_.next_scan;
  hello.reset_cause = store_.reset_cause();
  hello.simulated = identity.simulated;
  begin_payload();
  put_message(message);
  finish_frame();
}

void Telemetry::build_calibration() {
  calibration_due_ = false;
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_calibration_tag;
  copy_text(store_.identity().calibration_id, message.content.calibration.calibration_id);
  begin_payload();
  put_message(message);
  const std::size_t at = payload_bytes_;
  const std::size_t bytes = store_.read_calibration(payload().subspan(at + kBodyHeadBytes, kCalibrationBytesMax));
  if (bytes != 0) payload_bytes_ = close_body(payload(), at, bytes);
  finish_frame();
}

void Telemetry::build_status() {
  status_due_ = false;
  status_scan_ = health_.next_scan;
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_status_tag;
  steadyrail_proto_Status& status = message.content.status;
  status.scan = health_.next_scan;
  status.mode = static_cast<steadyrail_proto_JigMode>(health_.mode);
  status.safety_cause = static_cast<steadyrail_proto_SafetyCause>(health_.safety_cause);
  status.has_safety_detail = health_.safety_detail.has_value();
  status.safety_detail = health_.safety_detail.value_or(0);
  status.reset_cause = store_.reset_cause();
  status.gates = health_.gates;
  status.ps_on_driven = health_.ps_on_driven;
  status.scans_lost = health_.scans_lost;
  status.blocks_merged = health_.blocks_merged;
  status.blocks_dropped = health_.blocks_dropped;
  status.events_dropped = health_.events_dropped;
  status.captures_dropped = health_.captures_dropped;
  // Raw blocks have no counter of their own; the holes between their first scans show where.
  status.logs_dropped = health_.logs_dropped + health_.raw_dropped;
  status.frames_damaged = health_.frames_damaged;
  status.temperature_mk = health_.readings.temperature_mk;
  status.supply_mv = health_.readings.supply_mv;
  status.stack_free_bytes = health_.readings.stack_free_bytes;
  status.clipped_mask = health_.clipped_mask;
  status.lines = health_.lines;
  status.running = health_.running;
  status.captures_late = health_.captures_late;
  status.captures_cut = health_.captures_cut;
  status.load_energy_j = health_.load_energy_j;
  health_.clipped_mask = 0;
  begin_payload();
  put_message(message);
  finish_frame();
}

void Telemetry::build_time_mark() {
  time_mark_due_ = false;
  time_mark_scan_ = health_.next_scan;
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_time_mark_tag;
  message.content.time_mark.scan = health_.next_scan;
  begin_payload();
  put_message(message);
  finish_frame();
}

bool Telemetry::build_capture() {
  if (!captures_.take_piece(piece_)) return false;
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_capture_tag;
  message.content.capture = {.capture = piece_.capture,
                             .cause = static_cast<steadyrail_proto_CaptureCause>(piece_.trigger.cause),
                             .trigger_scan = piece_.trigger.scan,
                             .trigger_channel = piece_.trigger.channel,
                             .first_scan = piece_.first_scan,
                             .scan_count = piece_.scan_count,
                             .channel_mask = piece_.packed.channel_mask,
                             .remaining = piece_.remaining,
                             .scans_cut = piece_.scans_cut,
                             .one_of = piece_.trigger.one_of};
  begin_payload();
  put_message(message);
  const std::size_t at = payload_bytes_;
  std::memcpy(&payload()[at + kBodyHeadBytes], piece_.packed.body.data(), piece_.packed.bytes);
  payload_bytes_ = close_body(payload(), at, piece_.packed.bytes);
  finish_frame();
  return true;
}

void Telemetry::put_window_head(const StampedWindows& windows) {
  steadyrail_proto_JigToHost message{};
  message.which_content = steadyrail_proto_JigToHost_windows_tag;
  message.content.windows = {.first_scan = windows.first_scan,
                             .scans_per_window = windows.block.scans_per_window,
                             .window_count = windows.block.window_count,
                             .armed_set = windows.armed_set,
                             .clipped_mask = windows.clipped_mask};
  payload_bytes_ = encode_prefix(sequence_, store_.boot_count(), payload());
  put_message(message);
  body_at_ = payload_bytes_;
  encoder_.emplace(windows.block, payload().subspan(body_at_ + kBodyHeadBytes));
  encoder_changes_ = windows_.changes();
}

bool Telemetry::begin_windows() {
  const StampedWindows* windows = windows_.waiting();
  if (windows == nullptr) return false;
  ++sequence_;
  put_window_head(*windows);
  return true;
}

bool Telemetry::step_windows() {
  StampedWindows& windows = *windows_.waiting();
  if (encoder_changes_ != windows_.changes()) {  // it grew meanwhile: pack it again
    put_window_head(windows);
    return true;
  }
  if (encoder_->step()) return true;
  if (!windows_fit() && wire::merge_pairs(windows.block)) {
    count_up(health_.blocks_merged);
    put_window_head(windows);
    return true;
  }
  payload_bytes_ = close_body(payload(), body_at_, encoder_->bytes());
  encoder_.reset();
  windows_.release();
  finish_frame();
  return true;
}

bool Telemetry::windows_fit() const {
  const std::size_t bytes = body_at_ + kBodyHeadBytes + encoder_->bytes() + wire::kCrcBytes;
  return wire::cobs_bytes_max(bytes) + 1 <= windows_.slot_bytes(line_bytes_per_s_, kWindowSharePercent);
}

}  // namespace firmware
