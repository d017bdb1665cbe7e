// SPDX-License-Identifier: Apache-2.0
// What the load steps of a session did, in medians: by voltage channel, current channel and direction.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "host/detect/beyond_steps.h"
#include "host/detect/reservoir.h"
#include "host/model/jig.h"
#include "result.pb.h"

namespace host::detect {

/// Figures of one step at one connector, V and scans; what a source cannot tell is absent.
struct StepFigures {
  double step_a = 0;
  std::optional<double> deviation{}, undershoot{}, shift{}, minimum_scans{};
  std::optional<double> recovery_scans{};  // 0: the band round the settled level was never left
};

class StepBook {
 public:
  explicit StepBook(const model::Jig& jig);

  /// A step of a current channel, measured further or not, and whether the edition asks for so big a one.
  void step(std::size_t current, double step_a, const BeyondSteps::Judged& judged);
  void figures(std::size_t voltage, steadyrail::proto::FigureSource source, const StepFigures& figures);

  /// Steps of a rail's currents that limits are published for: falling, rising.
  std::array<std::uint32_t, 2> of_rail(steadyrail::proto::Rail rail) const;
  /// Median undershoot of rising steps per ampere at a voltage channel, ohms; nothing below ten steps.
  std::optional<double> ohm(std::size_t voltage) const;
  void write(steadyrail::proto::SessionResult& result) const;

 private:
  struct Source {
    Reservoir step, deviation, undershoot, shift, minimum, recovery, ohm;
  };
  struct Pair {
    std::size_t voltage;
    std::size_t current;
    std::array<Source, 2> window;  // falling, rising
    std::array<Source, 2> capture;
    std::array<std::uint64_t, 2> steps{};
    std::array<std::uint32_t, 2> beyond{};  // of them bigger than specified
    std::optional<double> specified_a{};
    std::array<std::optional<double>, 2> worst{};
    std::array<std::uint32_t, 2> stayed_in_band{};
  };
  const model::Jig& jig_;
  std::vector<Pair> pairs_;
  std::vector<std::array<std::uint32_t, 2>> by_rail_;
};

}  // namespace host::detect
