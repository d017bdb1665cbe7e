// SPDX-License-Identifier: Apache-2.0
// Sessions drawn as functions of time: what a jig would send of them, with the chip's crossing stamps and the edges of
// its comparators in the order of the line. The analogue chain is applied where a test asks for it.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <vector>

#include "host/detect/review.h"
#include "host/model/jig.h"

namespace host::detect::signals {

// Channels of the jig drawn with, all of 0.3 mV a code but the adapter's 0.6 mV, without noise.
inline constexpr std::size_t k12 = 0;
inline constexpr std::size_t k5 = 1;
inline constexpr std::size_t k3v3 = 2;
inline constexpr std::size_t kStandby = 3;
inline constexpr std::size_t kPwrOk = 4;
inline constexpr std::size_t kPsOn = 5;
inline constexpr std::size_t kAdapter = 6;
inline constexpr std::size_t k12Amps = 7;
inline constexpr std::size_t kChannels = 8;

inline constexpr double kRateHz = 32000;

steadyrail::proto::JigDescription jig();

/// Regulation of +12, +5, +3.3 V and +5 V standby (+-5 %); nothing required.
steadyrail::proto::LimitSet limits();

using Level = std::function<double(double time_s)>;

/// Straight lines between points (time, volts); level before the first and after the last.
Level line(std::vector<std::pair<double, double>> points);
/// A mains adapter of 15 V peak; `on` tells whether there is mains.
Level sine(double hz, double turns_at_0, std::function<bool(double time_s)> on);

class Signals {
 public:
  /// The mains is there, standby at 5 V, PS_ON# high, everything else at 0.
  explicit Signals(double duration_s);
  void set(std::size_t channel, Level level) { levels_[channel] = std::move(level); }
  const Level& level(std::size_t channel) const { return levels_[channel]; }
  /// An edge of the AC-present detector, or a pulse of a comparator; those of PWR_OK and PS_ON# come by themselves.
  void edge(steadyrail::proto::Line line, bool high, double time_s, std::uint32_t pulse_ns = 0);

  bool filtered = false;  // through the two poles of jig(), 14.2 kHz each
  bool stamps = true;     // the chip's crossings and edges; false: windows alone
  std::uint32_t scans_per_window = 32;

  /// Header, everything, finish.
  steadyrail::proto::SessionResult review(const ReviewOptions& options,
                                          const steadyrail::proto::JigDescription& description = jig()) const;

 private:
  struct Stamped {
    double scan;
    steadyrail::proto::Event event;
  };
  std::vector<std::vector<std::int16_t>> sampled(const model::Jig& model) const;
  std::vector<Stamped> events(const std::vector<std::vector<std::int16_t>>& codes, const model::Jig& model,
                              const steadyrail::proto::LimitSet* limits) const;
  void comparator(steadyrail::proto::Line line, std::size_t channel, std::vector<Stamped>& out) const;

  double duration_s_;
  std::array<Level, kChannels> levels_;
  std::vector<Stamped> edges_;
};

}  // namespace host::detect::signals
