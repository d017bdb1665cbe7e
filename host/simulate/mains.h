// SPDX-License-Identifier: Apache-2.0
// The mains as the jig's low-voltage adapter shows it, and the supply's primary capacitor behind its rectifier.
#pragma once

#include <cstdint>

#include "host/simulate/random.h"

namespace host::simulate {

struct MainsParameters {
  double hz = 50;
  double dip_every_s = 0;  // mean time between dips; 0: none
  double dip_least_s = 0;
  double dip_most_s = 0;
  double dip_level_most = 0;  // of the nominal amplitude that is left, drawn from 0 to this
};

/// Advances in whole scans.
class Mains {
 public:
  Mains(const MainsParameters& parameters, std::uint64_t seed, double scan_s);
  void advance();
  double level() const { return level_; }  // of the nominal amplitude: 1, or what a dip leaves
  double adapter_v() const;                // instantaneous
  double undisturbed_v() const;            // what the adapter would show without the dip
  double residue_phase() const;            // sine of twice the mains phase
  static constexpr double kAdapterPeakV = 15;

 private:
  MainsParameters parameters_;
  Random random_;
  double scan_s_;
  double turns_ = 0;
  double undisturbed_v_ = 0;
  double residue_phase_ = 0;
  double level_ = 1;
  double left_s_ = 0;  // of this stretch, dip or not
};

/// Tells when the adapter leaves and rejoins the sine it followed: 20 % of the peak away, back for 10 ms.
class AcDetector {
 public:
  /// One scan later. Returns the share of the scan after which the state changed, or a negative number.
  double advance(const Mains& mains, double scan_s);
  bool present() const { return present_; }

 private:
  bool present_ = true;
  double departure_ = 0;  // of the peak
  double quiet_s_ = 0;
};

struct BulkParameters {
  double farad = 390e-6;
  double set_v = 385;
  double warn_v = 325;  // PWR_OK goes low
  double stop_v = 310;  // the main converter stops
  double efficiency = 0.92;
  double input_w = 1100;           // at most, at full mains
  double input_level_least = 0.3;  // below this mains level the input stage gives up
  double standby_stop_v = 120;
};

/// Energy balance of the primary capacitor.
class BulkCapacitor {
 public:
  explicit BulkCapacitor(const BulkParameters& parameters) : parameters_(parameters), volts_(parameters.set_v) {}
  /// `output_w` leaves the outputs for `seconds`; the mains refills as it can.
  void advance(double output_w, double mains_level, double seconds);
  double volts() const { return volts_; }
  const BulkParameters& parameters() const { return parameters_; }

 private:
  BulkParameters parameters_;
  double volts_;
};

}  // namespace host::simulate
