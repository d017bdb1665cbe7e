// SPDX-License-Identifier: Apache-2.0
// The one writer of the line. Builds a frame only when the line can begin it, in the order: acknowledgements and time
// mark, status, events, windows, captures, raw, log. Nothing here makes sampling wait: what does not fit is merged
// (windows) or dropped and counted (the rest).
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "firmware/core/byte_queue.h"
#include "firmware/core/capture_store.h"
#include "firmware/core/envelope.h"
#include "firmware/core/health.h"
#include "firmware/core/scan_time.h"
#include "firmware/core/window_accumulator.h"
#include "firmware/hal/nonvolatile_store.h"
#include "firmware/hal/serial.h"
#include "proto/wire/frame.h"
#include "proto/wire/window_codec.h"

namespace firmware {

inline constexpr std::uint32_t kTimeMarkScans = kScansPerSecond / 4;
inline constexpr std::uint32_t kStatusScans = kScansPerSecond;
inline constexpr std::uint32_t kWindowSharePercent = 60;  // of the line, framing included
inline constexpr std::uint32_t kEventSharePercent = 25;   // what events may take before windows
inline constexpr std::size_t kEventQueueBytes = 6144;
inline constexpr std::size_t kEventSumBytes = 3072;  // of them, for one Storm of every armed limit
static_assert(kEventSumBytes >= 2 * 24 * (steadyrail_proto_Storm_size + 10));

/// Codes of Log frames.
inline constexpr std::uint32_t kLogFaultInstruction = 2;
inline constexpr std::uint32_t kLogFaultReturn = 3;
inline constexpr std::uint32_t kLogFaultCause = 4;
inline constexpr std::uint32_t kLogFaultAddress = 5;

class Telemetry {
 public:
  /// `sequence` is the number of the frame before the first one.
  Telemetry(SerialTransmitter& line, const NonVolatileStore& store, Health& health, WindowAccumulator& windows,
            CaptureStore& captures, std::uint32_t sequence = 0);

  void set_line(std::uint32_t line_bytes_per_s) { line_bytes_per_s_ = line_bytes_per_s; }
  std::uint32_t line_bytes_per_s() const { return line_bytes_per_s_; }

  // What to say. Queues are bounded; what does not fit is counted.
  void acknowledge(const steadyrail_proto_Acknowledgement& acknowledgement);
  void say_hello();
  void say_calibration() { calibration_due_ = true; }
  void say_status() { status_due_ = true; }
  /// A status once everything else has been sent: the end of a run.
  void say_last_status() { last_status_due_ = true; }
  void mark_time() { time_mark_due_ = true; }
  /// Counted as dropped when there is no room.
  void event(const steadyrail_proto_Event& event);
  /// False when there is no room: the caller keeps it or counts it.
  [[nodiscard]] bool offer(const steadyrail_proto_Event& event);
  /// The same for what sums up others: it may use the room that is kept from them.
  [[nodiscard]] bool offer_sum(const steadyrail_proto_Event& event);
  void raw(std::uint64_t first_scan, const PackedBody& packed);
  void ramp(const steadyrail_proto_RampBlock& block, const PackedBody& packed);
  /// Whether what ramps and raw scans have queued goes before captures.
  void put_raw_first(bool first) { raw_first_ = first; }
  void log(std::uint32_t code, std::int32_t value);

  /// Once a block: what is due by device time.
  void on_block();

  /// One step: sends bytes, packs one channel or begins a frame. False when nothing can be done now.
  bool pump();

  /// True when nothing is left to send.
  bool drained();

 private:
  // A payload lies behind the head room that its framing may take, in the frame's own buffer.
  static constexpr std::size_t kHeadRoom = wire::kFrameBytesMax - wire::kPayloadBytesMax;

  std::span<std::byte> payload() { return std::span(frame_).subspan(kHeadRoom); }
  void begin_payload();
  void put_message(steadyrail_proto_JigToHost& message);
  void finish_frame();
  bool build_next();
  bool build_urgent();
  bool build_event();
  bool build_ramp();
  bool build_rest();
  void build_hello();
  void build_calibration();
  void build_status();
  void build_time_mark();
  void push_raw(steadyrail_proto_JigToHost& message, const PackedBody& packed);
  bool push_event(const steadyrail_proto_Event& event, std::size_t room_kept);
  template <std::size_t Bytes>
  void build_from(ByteQueue<Bytes>& queue);
  bool build_capture();
  bool begin_windows();
  bool step_windows();
  bool windows_fit() const;
  void put_window_head(const StampedWindows& windows);

  SerialTransmitter& line_;
  const NonVolatileStore& store_;
  Health& health_;
  WindowAccumulator& windows_;
  CaptureStore& captures_;

  std::uint32_t line_bytes_per_s_ = 200000;
  std::uint32_t sequence_;
  std::uint64_t time_mark_scan_ = 0;
  std::uint64_t status_scan_ = 0;
  bool hello_due_ = false;
  bool raw_first_ = false;
  bool calibration_due_ = false;
  bool status_due_ = false;
  bool last_status_due_ = false;
  bool time_mark_due_ = false;
  std::int64_t event_credit_bytes_ = 0;

  ByteQueue<512> acknowledgements_;
  ByteQueue<kEventQueueBytes> events_;
  ByteQueue<2048> raw_;
  ByteQueue<256> logs_;
  CapturePiece piece_{};

  std::optional<wire::WindowEncoder> encoder_;
  std::uint32_t encoder_changes_ = 0;
  std::size_t body_at_ = 0;  // where the body's tag goes

  std::array<std::byte, wire::kFrameBytesMax> frame_{};
  std::size_t payload_bytes_ = 0;
  std::size_t frame_bytes_ = 0;  // 0: no frame on the line
  std::size_t frame_sent_ = 0;
};

}  // namespace firmware
