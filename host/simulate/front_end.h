// SPDX-License-Identifier: Apache-2.0
// From what happens at the plugs to converter codes: anti-alias poles, the channel's true scale, noise, clipping.
#pragma once

#include <array>
#include <cstdint>
#include <expected>
#include <string>
#include <vector>

#include "host/simulate/connectors.h"
#include "host/simulate/plant.h"
#include "host/simulate/random.h"
#include "jig.pb.h"
#include "proto/wire/scan_stream.h"

namespace host::simulate {

/// Everything a channel can look at, V or A: taps first, then their currents.
enum Signal : std::size_t {
  kTapVolts = 0,        // at each plug, between its own two conductors
  kTapCurrent = kTaps,  // through each plug's supply conductor
  kPwrOk = 2 * kTaps,
  kPsOn,
  kOffsetProcessor,  // return tap of processor-1 above that of main
  kOffsetGraphics,   // return tap of graphics-1 above that of main
  kAcAdapter,
  kAuxiliary,  // temperature input
  kNothing,    // stays 0: what unused channels see
  kSignals
};
using Signals = std::array<Track, kSignals>;

/// Switching ripple: a sine at every tap. It is added after the filter with the filter's attenuation, since the
/// sub-steps are too coarse for it; sampling folds it into the band as it does in a real jig.
struct Ripple {
  double hz = 0;
  std::array<double, kTaps> peak_v{};
};

class FrontEnd {
 public:
  /// Draws each channel's true gain and offset inside what its calibration claims. Errors: a channel the simulated PC
  /// cannot feed, a scale of zero, poles below zero or more than kPolesMax.
  static std::expected<FrontEnd, std::string> create(const steadyrail::proto::JigDescription& jig, std::uint64_t seed,
                                                     double step_s);
  void set_ripple(const Ripple& main, const Ripple& standby);
  /// Fills every pole as if the last values of `signals` had stood for ever.
  void settle(const Signals& signals);
  /// One scan; straight lines between the ends of the sub-steps.
  void run_scan(const Signals& signals);
  /// Converter codes of all channels as they stand, with noise, clipped to 16 bits; the sines are the two ripples' now.
  /// Unused channels read 0.
  void sample(double main_sine, double standby_sine, std::array<std::int16_t, wire::kChannelCount>& codes);

  static constexpr std::size_t kPolesMax = 4;

 private:
  explicit FrontEnd(std::uint64_t noise_seed) : noise_(noise_seed, 3) {}
  std::expected<void, std::string> add(const steadyrail::proto::JigDescription& jig,
                                       const steadyrail::proto::Channel& channel, Random& random, double step_s);

  using Lanes = std::array<double, wire::kChannelCount>;
  // Exact for straight lines between the inputs x: y = state + fresh x, then state = keep state + stale x.
  struct Pole {
    Lanes keep{}, stale{}, fresh{}, state{};
  };
  struct Channel {
    bool used = false;
    std::vector<std::size_t> signals;  // summed
    double codes_per_unit = 0;         // the channel as it truly is
    double code_at_zero = 0;
    double noise_codes = 0;
    std::vector<double> pole_hz;
    double main_ripple_codes = 0;  // peak, behind the filter
    double standby_ripple_codes = 0;
  };
  template <typename Several>
  void filter_with(const double* const* from);
  void filter_wide(const double* const* from);
  double attenuation(const Channel& channel, double hz) const;

  Random noise_;
  std::array<Channel, wire::kChannelCount> channels_;
  std::array<std::size_t, wire::kChannelCount> first_signal_{};
  struct Sum {  // of a channel that looks at several signals
    std::size_t channel = 0;
    Track track{};
  };
  std::vector<Sum> sums_;
  std::size_t pole_count_ = 0;
  std::array<Pole, kPolesMax> poles_;
  Lanes sampled_{};  // filtered, at the end of the last scan
};

/// One pole of `hz` as an exact update for straight-line input over `step_s`: {keep, stale, fresh}.
std::array<double, 3> pole_update(double hz, double step_s);

}  // namespace host::simulate
