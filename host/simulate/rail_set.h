// SPDX-License-Identifier: Apache-2.0
// All rails of a supply with their cables and the returns they share.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "host/simulate/connectors.h"
#include "host/simulate/pc_load.h"
#include "host/simulate/plant.h"

namespace host::simulate {

struct RailSetParameters {
  RailParameters p12v;  // harnesses: the +12 V taps in order
  RailParameters p5v;   // main, peripheral
  RailParameters p3v3;
  RailParameters m12v;
  RailParameters p5vsb;
  std::optional<GroupParameters> group;  // instead of the converters of +12 V and +5 V
  std::array<ReturnPath, kConnectors> returns;
  double tie_ohm = 0;  // board to card: slot and case
};

/// How the converters are driven at an instant. Scales are of the set voltages.
struct RailDrive {
  double main_scale = 0;  // soft start runs it from 0 to 1
  double p12v_scale = 1;  // besides: a drifting +12 V reference
  double standby_scale = 0;
  double p12v_limit_a = 0;
  double p5vsb_limit_a = 0;
  bool main_off = true;  // for the whole scan
  bool standby_off = true;
};

/// All plugs at one instant.
struct Instant {
  TapAmps amps{};                               // through the supply conductors, away from the supply on each rail
  std::array<double, kTaps> plug_v{};           // between the plug's own two conductors, with sign
  std::array<double, kGroundNodes> ground_v{};  // board and card above the supply's 0 V
};

/// The same over a scan.
struct Tracks {
  std::array<Track, kTaps> amps{};
  std::array<Track, kTaps> plug_v{};
  std::array<Track, kGroundNodes> ground_v{};
};

class RailSet {
 public:
  RailSet(const RailSetParameters& parameters, double step_s);

  /// Jumps to rest under these loads; rails whose converter is off lie at 0 V.
  void settle(const RailDrive& drive, const TapAmps& amps);
  /// Extra ohms in each tap's supply conductor from the next scan on.
  void set_contact(const std::array<double, kTaps>& ohm);
  /// One scan: drive and loads go straight from the last to these.
  void run_scan(const RailDrive& drive, const TapAmps& amps);
  const Tracks& tracks() const { return tracks_; }  // of the last scan
  Instant at(std::size_t sub_step) const;
  const Instant& now() const { return now_; }
  /// Across a tap's load now, with sign.
  double load_v(Tap tap) const;
  const GroundNetwork& ground() const { return ground_; }
  bool limited() const { return limited_; }  // +12 V was in its current limit within the last scan

 private:
  using NodeAmps = std::array<double, kGroundNodes>;
  struct Unit {  // one plant and what it feeds
    Plant plant;
    std::vector<Tap> taps;  // by port
    std::vector<double> inputs_now;
    std::vector<double> inputs_next;
    std::vector<double> history;
    NodeAmps node_amps{};  // into the ground nodes at the end of the scan
  };
  struct Reading {  // constants that turn a tap's states into what its plug shows
    std::size_t unit = 0;
    std::size_t current_state = 0;
    std::size_t load_input = 0;
    double esr_ohm = 0;
    double downstream_ohm = 0;
    double polarity = 1;
    std::array<double, kGroundNodes> node_share{};    // of the current flowing into each node
    std::array<double, kGroundNodes> ground_share{};  // of a node's volts in the plug's
  };
  void add_unit(PlantDesign design, std::vector<Tap> taps, double step_s);
  void add_reading(std::size_t unit);
  void set_inputs(const RailDrive& drive, const TapAmps& amps);
  void set_foreign_ground(std::size_t unit);
  void measure_first_unit();
  void read_scan();
  template <typename Several>
  void read_with();
  void read_wide();

  RailSetParameters parameters_;
  GroundNetwork ground_;
  std::vector<Unit> units_;  // the one with +12 V first
  std::array<Reading, kTaps> readings_;
  Tracks tracks_;
  Instant now_;
  bool limited_ = false;
};

}  // namespace host::simulate
