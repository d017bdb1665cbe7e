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
  TapAmps amps{};
  std::array<double, kTaps> plug_v{};              // between the plug's own two conductors, with sign
  std::array<double, kTaps> load_v{};              // across the load, with sign
  std::array<double, kConnectors> return_tap_v{};  // above the supply's 0 V
  std::array<double, kConnectors> return_amps{};   // back to the supply
};

class RailSet {
 public:
  RailSet(const RailSetParameters& parameters, double step_s);

  /// Jumps to rest under these loads with both converters regulating.
  void settle(const RailDrive& drive, const TapAmps& amps);
  /// Extra ohms in each tap's supply conductor from the next scan on.
  void set_contact(const std::array<double, kTaps>& ohm);
  /// One scan: drive and loads go straight from the last to these.
  void run_scan(const RailDrive& drive, const TapAmps& amps);
  /// The ends of the sub-steps of the last scan; the last one stays valid after `settle`.
  std::span<const Instant, kSubSteps> instants() const { return instants_; }
  const Instant& now() const { return instants_.back(); }
  bool limited() const { return limited_; }  // +12 V was in its current limit within the last scan

 private:
  struct Unit {  // one plant and what it feeds
    Plant plant;
    std::vector<Tap> taps;  // by port
    std::vector<double> inputs_now;
    std::vector<double> inputs_next;
    std::vector<double> history;
  };
  using NodeAmps = std::array<double, kGroundNodes>;
  void add_unit(PlantDesign design, std::vector<Tap> taps, double step_s);
  void set_inputs(const RailDrive& drive, const TapAmps& amps);
  void set_foreign_ground(std::size_t unit, const NodeAmps& first);
  NodeAmps load_amps(const Unit& unit) const;   // wanted by its loads, into the ground nodes
  NodeAmps state_amps(const Unit& unit) const;  // through its cables
  void read(std::size_t step);

  RailSetParameters parameters_;
  GroundNetwork ground_;
  double step_s_;
  std::vector<Unit> units_;  // the one with +12 V first
  std::array<Instant, kSubSteps> instants_;
  bool limited_ = false;
};

}  // namespace host::simulate
