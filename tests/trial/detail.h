// SPDX-License-Identifier: Apache-2.0
// A supply scan by scan: rails, control and lines as the full simulation has them, under loads given from outside. Used
// for the step responses of a session, and wherever closed forms end: current limits, trips, losses of mains, starts.
#pragma once

#include <cstdint>
#include <vector>

#include "host/model/jig.h"
#include "host/simulate/logic_line.h"
#include "host/simulate/power_sequence.h"
#include "host/simulate/rail_set.h"
#include "host/simulate/supply_parameters.h"
#include "link.pb.h"
#include "tests/trial/chain.h"

namespace trial {

/// From outside, for one scan.
struct Surroundings {
  host::simulate::TapAmps amps{};  // wanted at full voltage
  bool pc_off = false;             // its loads are bleeders, not regulators
  bool ps_on_low = true;           // the PC holds it
  double mains_level = 1;
  double adapter_v = 0;
  double residue_sine = 0;  // of twice the mains frequency
  double p12v_scale = 1;    // a drifting reference
};

struct LineEdge {
  steadyrail::proto::Line line = steadyrail::proto::LINE_UNKNOWN;
  bool high = false;
  std::uint32_t offset_256 = 0;  // into the scan
};

class Detail {
 public:
  Detail(const host::simulate::SupplyParameters& parameters, const host::model::Jig& jig, const Chain& chain,
         std::uint64_t seed);

  /// At rest, running, the primary capacitor full.
  void settle(const Surroundings& here);
  /// Extra ohms in the supply conductor of the scenario's contact, from the next scan on.
  void set_contact(double ohm);
  /// One scan on. The edges of PWR_OK and PS_ON# within it.
  const std::vector<LineEdge>& run(const Surroundings& here);
  /// The control alone, `seconds` on, while nothing moves.
  void idle(const Surroundings& here, double seconds) { sequence_.advance(sequence_inputs(here), seconds); }

  Reading reading() const { return chain_.reading(); }
  bool limited() const { return limited_; }
  bool power_good() const { return pwr_ok_.high(); }
  double standby_v() const { return rails_.load_v(host::simulate::k5SbMain); }
  double bulk_v() const { return sequence_.bulk_v(); }
  /// Everything as in the midst of a session: no state but `on`, PWR_OK high.
  bool running() const { return sequence_.state() == host::simulate::SupplyState::kOn && pwr_ok_.high(); }
  host::simulate::SupplyState state() const { return sequence_.state(); }
  host::simulate::Trip trip() const { return sequence_.trip(); }

 private:
  struct Look {  // what a channel sees
    enum Kind { kVolts, kAmps, kPwrOk, kPsOn, kOffset, kAdapter, kTemperature, kNone } kind = kNone;
    std::vector<host::simulate::Tap> taps;
    host::simulate::Connector connector = host::simulate::kMain;
  };
  host::simulate::SequenceInputs sequence_inputs(const Surroundings& here) const;
  host::simulate::RailDrive drive(const Surroundings& here) const;
  double load_share(host::simulate::Tap tap, bool pc_off) const;
  double value(const Look& look, std::size_t step, const Surroundings& here) const;
  double residue(const Surroundings& here) const;
  void look(std::size_t step, const Surroundings& here, Values& out) const;

  host::simulate::SupplyParameters parameters_;
  Chain chain_;
  host::simulate::RailSet rails_;
  host::simulate::PowerSequence sequence_;
  host::simulate::LogicLine pwr_ok_;
  host::simulate::LogicLine ps_on_;
  std::array<Look, wire::kChannelCount> looks_{};
  std::vector<LineEdge> edges_;
  std::array<double, host::simulate::kSubSteps> pwr_ok_v_{};
  std::array<double, host::simulate::kSubSteps> ps_on_v_{};
  std::array<Values, host::simulate::kSubSteps> values_{};
  bool limited_ = false;
};

}  // namespace trial
