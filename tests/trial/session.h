// SPDX-License-Identifier: Apache-2.0
// One session without its full waveforms: windows, events and captures as a jig would have sent them, told to a sink.
// Windows come from closed forms; scan by scan is simulated only what those do not hold for.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "host/decode/sink.h"
#include "host/model/jig.h"
#include "host/simulate/supply_parameters.h"
#include "tests/trial/chip.h"
#include "tests/trial/detail.h"
#include "tests/trial/load_track.h"
#include "tests/trial/noise.h"
#include "tests/trial/wave.h"

namespace trial {

struct SessionPlan {
  host::simulate::SupplyParameters supply;
  TrackParameters track;
  double seconds = 2700;
  std::uint64_t seed = 1;
  double step_captures_per_s = 0.1;
  double label_12v_a = 56;  // for the truth alone
};

/// What was so, whatever anyone finds.
struct Truth {
  std::vector<LockUp> lock_ups;
  std::vector<Scan> presses;  // of the marker
  /// Least and greatest reading of each channel while the supply was on and +12 V inside its label, V.
  std::array<double, wire::kChannelCount> least{};
  std::array<double, wire::kChannelCount> most{};
  double least_12v_v = 0;       // of any +12 V channel, whatever the load
  double least_outside_v = 0;   // of any +12 V channel, the load surely above the label
  std::uint32_t shutdowns = 0;  // PWR_OK fell
  std::uint32_t trips = 0;
  std::uint32_t dips = 0;      // of the mains
  std::uint32_t openings = 0;  // of the contact
  double simulated_s = 0;      // scan by scan
  double busy_s = 0;           // of game
};

class Session {
 public:
  Session(const SessionPlan& plan, const host::model::Jig& jig, const steadyrail::proto::Configure& configure,
          const steadyrail::proto::Arm& arm);
  ~Session();
  /// The whole session after its header; the sink's finish() is the caller's.
  void feed(host::decode::Sink& sink);
  const Truth& truth() const;

 private:
  class Body;
  std::unique_ptr<Body> body_;
};

}  // namespace trial
