// SPDX-License-Identifier: Apache-2.0
// Sessions made of levels in volts and amps, turned into the batches a decoder would hand over. No analogue chain, no
// noise unless a test adds it: what goes in is what the detectors must find.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "host/detect/review.h"
#include "host/model/jig.h"

namespace host::detect {

// Channels of the test jig, all at 0.3 mV or 5 mA a code, calibrated with u_other 5 mV, noise as `noise_codes`.
inline constexpr std::size_t kGraphics = 0;  // +12 V, carries kGraphicsA
inline constexpr std::size_t kMain = 1;      // +12 V, no current channel
inline constexpr std::size_t kFive = 2;      // +5 V, no current channel
inline constexpr std::size_t kStandby = 3;   // +5 V standby
inline constexpr std::size_t kPwrOk = 4;
inline constexpr std::size_t kPsOn = 5;
inline constexpr std::size_t kGraphicsA = 6;  // A
inline constexpr std::size_t kChannels = 7;

steadyrail::proto::JigDescription test_jig(double noise_codes = 2, bool calibrated = true);
model::Jig test_model(double noise_codes = 2, bool calibrated = true);

/// +12 V from `least_12` V to 12.60, +5 V 4.75 to 5.25, standby as +5; requires nothing unless a test says so.
steadyrail::proto::LimitSet test_limits(double least_12 = 11.40, std::string edition = "test-edition");

steadyrail::proto::RecordingHeader test_header(const std::string& armed_edition = "",
                                               const steadyrail::proto::JigDescription& jig = test_jig());

/// Levels of all channels, scan by scan.
class Levels {
 public:
  /// 12.00, 12.00, 5.00, 5.00, 5.00 (PWR_OK high), 0.10 (PS_ON# low) V and 5 A.
  explicit Levels(std::size_t scans);
  void set(std::size_t channel, std::size_t from, std::size_t to, double level);
  std::vector<double>& of(std::size_t channel) { return levels_[channel]; }
  std::size_t scans() const { return levels_[0].size(); }
  std::int16_t code(std::size_t channel, std::size_t scan) const;

  /// Hands [from, to) over as windows in blocks of up to 32; scan indices begin at `origin`.
  void windows(decode::Sink& sink, std::size_t from, std::size_t to, std::uint64_t origin = 0,
               std::uint32_t scans_per_window = 32, std::uint32_t armed_set = 0,
               const steadyrail::proto::LimitSet* armed = nullptr) const;
  /// Hands [from, to) over as one capture of all channels.
  void capture(decode::Sink& sink, std::size_t from, std::size_t to, std::size_t trigger,
               steadyrail::proto::CaptureCause cause, std::uint32_t id = 1) const;

 private:
  std::array<std::vector<double>, kChannels> levels_;
};

/// The chip's word of a step of kGraphicsA by `amps` at a scan.
steadyrail::proto::Event load_step(std::uint64_t scan, double amps, std::uint32_t id);

/// The one verdict of a channel and quantity; aborts the test when there is none.
const steadyrail::proto::Verdict& verdict_of(const steadyrail::proto::SessionResult& result, const std::string& channel,
                                             steadyrail::proto::Quantity quantity);

/// Counts of a kind and channel; zeros when there are none.
steadyrail::proto::EventCount count_of(const steadyrail::proto::SessionResult& result,
                                       steadyrail::proto::EventKind kind, const std::string& channel);

/// Listed events of a kind.
std::vector<steadyrail::proto::EventResult> events_of(const steadyrail::proto::SessionResult& result,
                                                      steadyrail::proto::EventKind kind);

}  // namespace host::detect
