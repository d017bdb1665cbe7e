// SPDX-License-Identifier: Apache-2.0
// Stretches in which a load step bigger than the edition specifies is at work: no limit is published for them.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>

#include "host/judge/rating.h"
#include "host/judge/specified_step.h"

namespace host::detect {

class BeyondSteps {
 public:
  BeyondSteps(const model::Jig& jig, const judge::SpecifiedSteps& specified) : jig_(jig), specified_(specified) {}

  struct Judged {
    steadyrail::proto::WithinStep within = steadyrail::proto::WITHIN_STEP_UNKNOWN;
    std::optional<double> specified_a;
  };
  /// A step of one current channel, A, as the chip tells it; steps of one output within a millisecond add up.
  Judged step(std::size_t current, std::uint64_t scan, double step_a);
  /// Whether such a step of `rail` is at work in some scan of [from, to).
  bool at_work(steadyrail::proto::Rail rail, std::uint64_t from, std::uint64_t to) const;
  /// The jig restarted: its scans may begin again.
  void restarted();

 private:
  struct Span {
    std::uint64_t start;
    std::uint64_t end;
  };
  struct Recent {
    std::uint32_t group;
    std::uint64_t scan;
    double step_a;
    double u_a;
  };

  const model::Jig& jig_;
  const judge::SpecifiedSteps& specified_;
  std::deque<Recent> recent_;
  std::array<std::deque<Span>, judge::kRailCount> spans_;
};

}  // namespace host::detect
