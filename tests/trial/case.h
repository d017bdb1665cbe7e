// SPDX-License-Identifier: Apache-2.0
// What a trial can be about, drawn at random round the named scenarios, and what must come out.
#pragma once

#include <cstdint>
#include <expected>
#include <span>
#include <string>
#include <string_view>

#include "diagnosis.pb.h"
#include "limits.pb.h"
#include "tests/trial/session.h"
#include "unit.pb.h"

namespace trial {

struct Case {
  SessionPlan plan;
  steadyrail::proto::Unit unit;
};

/// Names of all kinds of sessions: the simulator's scenarios and those of the trial alone.
std::span<const std::string_view> kinds();

/// Whether supply, wiring and mains are sound: what locks up is the PC.
bool innocent(std::string_view kind);

/// Every parameter of supply, cables and load within 30 % of the scenario's, log-uniform. The unit is `label` with its
/// figures scaled to the supply drawn. Error: unknown kind.
std::expected<Case, std::string> draw(std::string_view kind, std::uint64_t seed, const steadyrail::proto::Unit& label);

/// The scenario as the rehearsal has it: nothing varied, the PC roams.
std::expected<Case, std::string> as_rehearsed(std::string_view scenario, std::uint64_t seed,
                                              const steadyrail::proto::Unit& label);

enum class Sight : std::uint8_t {
  kHidden,      // nothing in the jig's band tells it: not-shown is right
  kBorderline,  // within the uncertainty of a limit: either is right
  kVisible,
};

struct Expected {
  steadyrail::proto::Conclusion conclusion = steadyrail::proto::CONCLUSION_NOT_SHOWN;
  Sight sight = Sight::kHidden;
  /// Not what it was drawn to be: an innocent supply that left its limits, or whose dips locked the PC up.
  bool spoiled = false;
  /// Of an overload: with the load inside the label the limits were left too, so that both conclusions are right.
  bool faulty_too = false;
};
/// What must come out, by what was so in the session.
Expected expected(std::string_view kind, const Truth& truth, const host::model::Jig& jig,
                  const steadyrail::proto::LimitSet& limits);

}  // namespace trial
