// SPDX-License-Identifier: Apache-2.0
// What was observed, in converter volts, and what the checks share: which inputs are mapped, what the grounds' way back
// is.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "host/selftest/evaluate.h"

namespace host::selftest {

/// Of a figure that is `off` by so much from what it ought to be, told with `uncertainty`, and may be off by `allowed`.
steadyrail::proto::TestOutcome decide(double off, double uncertainty, double allowed);

/// "3.00 kohm", "96.1 ohm".
std::string ohms(double value);

steadyrail::proto::TestItem& add_item(steadyrail::proto::SelfTestReport& report, std::string_view check,
                                      std::string_view subject, steadyrail::proto::TestOutcome outcome);
/// `words` are kept of what is not a pass.
void fill(steadyrail::proto::TestItem& item, std::string figure, std::string limit, std::string_view source,
          std::string words = "");

class Readings {
 public:
  Readings(const steadyrail::proto::TestSetup& setup, const model::Jig& jig, const Observations& seen)
      : setup_(setup), jig_(jig), seen_(seen) {}

  const steadyrail::proto::TestSetup& setup() const { return setup_; }
  const model::Jig& jig() const { return jig_; }
  const Observations& seen() const { return seen_; }

  /// nullptr: was not reached. Of the first one that fits; -1: any.
  const Observed* find(Purpose purpose, int input = -1, int link = -1) const;
  std::size_t channel_of(int input) const;
  char group(int input) const;
  double volts(const Observed& one, std::size_t channel) const;
  double level_of(const Observed& one) const { return setup_.level_v(static_cast<int>(one.stimulus.level)); }
  double inl_v() const;
  bool clipped(const Observed& one, std::size_t channel) const { return (one.clipped_mask >> channel & 1) != 0; }

  /// Converter volts with the tap at level 0. Where that is the end of the range, from two levels above it.
  std::optional<double> zero_volts(int input, bool weak) const;
  /// What it reads there as built.
  double expected_zero(const steadyrail::proto::TestInput& input) const;
  /// Observation by which an input's place is told: low enough for whatever channel its lead may be on.
  Purpose map_purpose(int input) const;
  /// Inputs that follow the source at this input's tap by a good part of its voltage.
  std::vector<int> responders(int input) const;
  /// How far an observation of its own tap ought to lift it; 0: was not reached.
  double expected_lift(int input, Purpose purpose) const;

  /// Its tap is seen by its own channel and no other.
  bool mapped(int input) const { return !unmapped_.contains(input); }
  void unmap(int input) { unmapped_[input] = true; }
  /// From the group's ground back to the source; 0 of an input without a lower leg.
  double ground_ohm(int input) const;
  void set_ground(char group, double ohm, bool sound) { grounds_[group] = {ohm, sound}; }
  /// False: nothing that its dividers say can be trusted.
  bool tied(int input) const;
  void set_leg(int input, bool sound) { legs_[input] = sound; }
  /// Tie and lower leg both: what its upper leg reads is its own.
  bool sound(int input) const;

 private:
  struct Ground {
    double ohm = 0;
    bool sound = false;
  };
  const steadyrail::proto::TestSetup& setup_;
  const model::Jig& jig_;
  const Observations& seen_;
  std::map<int, bool> unmapped_;
  std::map<char, Ground> grounds_;
  std::map<int, bool> legs_;
};

}  // namespace host::selftest
