// SPDX-License-Identifier: Apache-2.0
// Ripple as a bound: the trade's limit is defined from 10 Hz to 20 MHz, the jig sees a few kilohertz of it. What it
// sees can exceed the limit, and then the unit fails; less never means a pass.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "host/detect/block.h"
#include "host/detect/reservoir.h"
#include "host/model/jig.h"
#include "limits.pb.h"
#include "result.pb.h"

namespace host::detect {

/// Mean range of `samples` normal values, in standard deviations: the factor d2 of control charts, at any size from 2.
double range_sigmas(double samples);

/// Peak to peak that is certainly the signal's, of a window that read `pp` with `noise` expected of noise alone.
double least_ripple(double pp, double noise);

/// Where a tone shows after sampling, Hz.
double alias_hz(double tone_hz, double scan_rate_hz);

/// How many times a tone is weakened by a chain of real poles.
double weakened(std::span<const double> pole_hz, double tone_hz);

/// Peak to peak of 20 ms and the line at twice the mains frequency of 100 ms (whole cycles of 50 and 60 Hz), both only
/// where no measured load moved; a second-order high-pass at 10 Hz takes slow drift away. At most one such stretch in
/// half a second.
class RippleWatch {
 public:
  explicit RippleWatch(const model::Jig& jig);
  void add(const Block& block);
  void gap();
  /// Appends a row for every rail voltage, and a verdict for those the edition limits (`limits` may be null).
  void write(const steadyrail::proto::LimitSet* limits, steadyrail::proto::SessionResult& result) const;

  static constexpr std::array<double, 2> kMainsHz = {50, 60};

 private:
  struct Line {  // Goertzel's recursion
    double s1 = 0, s2 = 0;
    void add(double x, double turn) {
      const double s = x + turn * s1 - s2;
      s2 = s1;
      s1 = s;
    }
    double amplitude(double turn, double count) const;
  };
  struct Watch {
    std::size_t channel = 0;
    bool rail = true;  // a rail voltage; else the mains adapter
    double first_sum = 0;
    double base = 0;  // code the filter starts from
    double z1 = 0, z2 = 0;
    double taken = 0;  // by the filter, in the window before
    double low = 0, high = 0;
    std::array<Line, 2> lines{};
    Reservoir pp{};
    double most = 0;
    std::array<Reservoir, 2> residue{};
    Reservoir load{};
  };

  void prepare(std::uint32_t scans);
  void take(const Block& block, std::uint32_t window);
  void close_lines(const Block& block, std::uint32_t window);
  double load(const Block& block, std::uint32_t window, steadyrail::proto::Rail rail) const;
  void row(const Watch& watch, steadyrail::proto::RippleBound& out) const;
  void mains(const Watch& watch, steadyrail::proto::RippleBound& out) const;
  std::size_t mains_place(const Watch& watch) const;

  const model::Jig& jig_;
  std::vector<std::size_t> currents_;
  std::vector<Watch> watches_;
  std::uint32_t scans_ = 0;          // of one window; the next six follow from it
  std::uint32_t short_windows_ = 0;  // 20 ms
  std::uint32_t long_windows_ = 0;   // 100 ms; 0: windows too long to show the line
  std::array<double, 2> turn_{};     // 2 cos of the advance in one window, at twice the mains frequency
  std::array<double, 2> adapter_turn_{};
  std::array<double, 2> kept_{};  // share of the line's amplitude that a window's mean keeps
  double b0_ = 0, b1_ = 0, b2_ = 0, a1_ = 0, a2_ = 0;
  std::uint32_t in_stretch_ = 0;  // windows
  std::uint64_t rest_until_ = 0;
};

}  // namespace host::detect
