// SPDX-License-Identifier: Apache-2.0
// The load step an edition wants an output to bear, worked out for one unit; limits are published for steps inside it.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "host/model/jig.h"
#include "limits.pb.h"
#include "proto/wire/window.h"
#include "result.pb.h"
#include "unit.pb.h"

namespace host::judge {

class SpecifiedSteps {
 public:
  /// `unit` and `limits` may be null: then nothing is specified.
  SpecifiedSteps(const model::Jig& jig, const steadyrail::proto::Unit* unit, const steadyrail::proto::LimitSet* limits);

  /// What holds at one current channel.
  struct Output {
    double step_a = 0;                   // the greatest the edition wants the output to bear
    std::optional<double> slew_a_per_s;  // the fastest
    std::uint32_t group = 0;             // channels of one output share it: their steps at one moment add up
  };
  /// Nothing: the edition has no step for the output, or its basis is not known here.
  const std::optional<Output>& at(std::size_t current) const { return outputs_[current]; }

  /// Whether a step of `step_a` A in all, expanded uncertainty `u_a`, lay inside; uncertain is unknown.
  steadyrail::proto::WithinStep judge(std::size_t current, double step_a, double u_a) const;
  /// The same of its edge, which took no less than `slew_a_per_s`, or exactly that.
  steadyrail::proto::WithinStep judge_slew(std::size_t current, double slew_a_per_s, bool at_least) const;

  /// What of the edition's steps cannot be held against this session, in words.
  const std::vector<std::string>& remarks() const { return remarks_; }

 private:
  std::array<std::optional<Output>, wire::kChannelCount> outputs_;
  std::vector<std::string> remarks_;
};

}  // namespace host::judge
