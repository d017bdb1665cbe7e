// SPDX-License-Identifier: Apache-2.0
// Turns the bytes of a recording, live or read back, into what a Sink takes. Every hole is found, placed and counted.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "host/decode/clock_fit.h"
#include "host/decode/sink.h"
#include "result.pb.h"

namespace host::decode {

/// Counts beside those of proto Coverage.
struct FrameCounts {
  std::uint64_t sound = 0;
  std::uint64_t damaged = 0;  // not COBS, checksum, or content that no jig of this version writes
  std::uint64_t overlong = 0;
  std::uint64_t repeated = 0;  // seen before: ignored
  std::uint64_t unknown = 0;   // sound, of a kind this program does not know
  std::uint64_t missing = 0;   // by their sequence numbers
  std::uint64_t bytes_damaged = 0;
  std::uint64_t bytes_overlong = 0;
  std::uint64_t bytes_cut = 0;  // an unfinished frame at the end
};

/// Feed it a recording from its first byte (live: exactly what is being recorded), in pieces split anywhere, then
/// finish(). Memory does not grow with the session. Scan indices given to the sink are session scans: those of the
/// first boot as they are; after a restart of the jig they go on above all earlier ones.
class Decoder {
 public:
  explicit Decoder(Sink& sink);
  ~Decoder();
  Decoder(const Decoder&) = delete;
  Decoder& operator=(const Decoder&) = delete;

  void feed(std::span<const std::byte> bytes);
  /// Instead of feeding the start: what follows is fed from the start of a frame further on, where session scans lie
  /// `scan_offset` above the jig's. Call it first.
  void resume(const steadyrail::proto::RecordingHeader& header, std::uint64_t scan_offset);
  void finish();

  const FrameCounts& counts() const;
  /// Scans expected and seen, frames, bytes, gaps (the first kGapsListedMax listed, all counted). A second is a session
  /// scan over the scan rate. scans_clipped is the detectors' to fill.
  steadyrail::proto::Coverage coverage() const;
  /// What the recording says of itself: simulated, session facts, remarks (protocol versions, unknown frames, losses of
  /// the jig's own) and coverage are set; the rest of `result` stays.
  void describe(steadyrail::proto::SessionResult& result) const;

  /// Of the present stretch (since the last restart), in session scans.
  const ClockFit& clock() const;
  const std::optional<steadyrail::proto::Hello>& hello() const;
  /// Messages for the user, each once.
  const std::vector<std::string>& remarks() const;
  /// Session scan up to which windows have been given (gaps included).
  std::uint64_t end_scan() const;
  /// Session scan less the jig's own, at present.
  std::uint64_t scan_offset() const;

  static constexpr std::size_t kGapsListedMax = 1000;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace host::decode
