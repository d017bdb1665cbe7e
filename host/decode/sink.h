// SPDX-License-Identifier: Apache-2.0
// What decoding yields, in the order of the recording: the one seam between bytes and detectors, the same live and in
// review. References are valid during the call only.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "host/model/units.h"
#include "link.pb.h"
#include "proto/wire/capture_codec.h"
#include "proto/wire/window_codec.h"
#include "recording.pb.h"
#include "result.pb.h"

namespace host::decode {

/// Up to 32 windows of all channels in raw codes.
struct WindowBatch {
  std::uint64_t first_scan = 0;
  std::uint32_t scans_per_window = 0;
  std::uint32_t window_count = 0;
  std::uint32_t armed_set = 0;
  std::uint32_t clipped_mask = 0;
  const wire::DecodedWindows* windows = nullptr;
  std::uint64_t end_scan() const { return first_scan + std::uint64_t{scans_per_window} * window_count; }
};

/// Consecutive full-rate codes of some channels, one block of a capture (or of the raw stream: capture 0).
struct CaptureBatch {
  std::uint32_t capture = 0;
  steadyrail::proto::CaptureCause cause = steadyrail::proto::CAPTURE_CAUSE_UNKNOWN;
  std::uint64_t trigger_scan = 0;
  std::uint32_t trigger_channel = 0;
  std::uint64_t first_scan = 0;
  std::uint32_t scan_count = 0;
  std::uint32_t remaining = 0;                                              // blocks of this capture still to come
  std::span<const std::uint8_t> channels;                                   // ascending channel indices
  std::span<const std::array<std::int16_t, wire::kCaptureScansMax>> codes;  // by place in `channels`
};

/// A hole in the record: scans [from_scan, to_scan) of all channels were not seen. Never bridged.
struct ScanGap {
  std::uint64_t from_scan = 0;
  std::uint64_t to_scan = 0;
  steadyrail::proto::LossCause cause = steadyrail::proto::LOSS_CAUSE_UNKNOWN;
};

/// Receives a session. Default bodies ignore, so that a detector names only what it uses.
class Sink {
 public:
  virtual ~Sink() = default;
  virtual void header(const steadyrail::proto::RecordingHeader&) {}
  virtual void hello(const steadyrail::proto::Hello&) {}
  virtual void windows(const WindowBatch&) {}
  virtual void capture(const CaptureBatch&) {}
  virtual void event(const steadyrail::proto::Event&) {}
  virtual void status(const steadyrail::proto::Status&) {}
  virtual void log(const steadyrail::proto::Log&) {}
  virtual void gap(const ScanGap&) {}
  /// The jig restarted: scan indices begin again, on a new stretch of the session's time-line.
  virtual void restarted(std::uint32_t /*boot*/) {}
  virtual void note(const steadyrail::proto::HostNote&) {}
  /// End of the session: nothing follows.
  virtual void finish() {}
};

}  // namespace host::decode
