// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/evaluate.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "host/selftest/circuit.h"
#include "host/selftest/corrections.h"
#include "host/selftest/readings.h"
#include "host/selftest/signal_checks.h"

namespace host::selftest {
namespace {

namespace proto = steadyrail::proto;

constexpr double kCodes = 65536;
constexpr double kRowStep = 0.024;    // from one value of the E96 row to the next (IEC 60063)
constexpr double kTieShare = 0.1;     // own choice: an open tie is twenty times its resistance, a missing leg all of it
constexpr double kNoiseFactor = 1.5;  // own choice
constexpr double kScaleShare = 0.02;  // hardware-notes/bring-up.md: its channel reads it within 2 %
constexpr double kRangeShare = 0.005;  // own choice: what a calibration takes out
constexpr double kCoverage = 3;        // standard uncertainties of a mean

class Evaluation {
 public:
  Evaluation(const proto::TestSetup& setup, const model::Jig& jig, const Observations& seen) : r_(setup, jig, seen) {}

  proto::SelfTestReport run() {
    for (int i = 0; i < r_.setup().inputs_size(); ++i) map(i);
    ties();
    zeros();
    noise();
    for (int i = 0; i < r_.setup().inputs_size(); ++i) {
      scale(i);
      resistors(i);
      clamp(i);
    }
    check_signals(r_, report_);
    for (const proto::NotTested& one : r_.setup().not_tested()) *report_.add_not_tested() = one;
    sum_up();
    for (std::string& line : corrections(r_.jig(), swaps_, scales_, noises_)) report_.add_corrections(std::move(line));
    return std::move(report_);
  }

 private:
  void zeros() {
    for (const model::JigChannel& channel : r_.jig().channels()) {
      if (channel.kind == proto::CHANNEL_KIND_AUXILIARY) continue;
      const auto input = std::ranges::find(r_.setup().inputs(), channel.name, &proto::TestInput::channel);
      if (input == r_.setup().inputs().end()) {
        open_zero(channel);
        continue;
      }
      const int place = static_cast<int>(input - r_.setup().inputs().begin());
      const auto read = r_.mapped(place) && r_.sound(place) ? r_.zero_volts(place, false) : std::nullopt;
      // The end of the divider moves with the parts: what stands there comes through the two of them.
      const double ratio = gain_of(*input);
      const double parts = at_zero_of(*input) * 2 * r_.setup().part_tolerance() * ratio +
                           at_zero_of(*input) * r_.setup().source_tolerance() * 2;
      const double allowed = r_.setup().converter_offset_v() + r_.inl_v() + parts;
      const double off = read ? *read - r_.expected_zero(*input) : NAN;
      proto::TestItem& item = add_item(report_, "zero", channel.name, decide(off, r_.inl_v() / 4, allowed));
      fill(item, read ? fmt::format("{:+.2f} mV at the converter", 1e3 * off) : "none",
           fmt::format("{:.2f} mV", 1e3 * allowed), "offset, non-linearity and parts of the setup",
           read ? "reads something with its tap at 0 V: a wrong end of its divider, a leaking clamp, or a dead buffer"
                : "could not be told: see its map, its return leg and its group's tie");
    }
  }

  // Nothing flows through a current channel.
  void open_zero(const model::JigChannel& channel) {
    const Observed* off = r_.find(Purpose::kOff);
    const double range = std::abs(channel.per_code) * kCodes / 2;
    const double read = off == nullptr ? NAN : channel.value(off->mean_code[channel.index]);
    proto::TestItem& item =
        add_item(report_, "zero", channel.name, decide(read, range * 4 / kCodes, kScaleShare * range));
    fill(item, fmt::format("{:+.2f} A", read), fmt::format("{:.2f} A", kScaleShare * range),
         "bring-up.md: 2 % of the range", "reads a current where none flows: sensor, its supply, or its amplifier");
  }

  const Observed* at_rest(const model::JigChannel& channel) const {
    const auto input = std::ranges::find(r_.setup().inputs(), channel.name, &proto::TestInput::channel);
    if (input == r_.setup().inputs().end() || input->attenuation() > 0) return r_.find(Purpose::kOff);
    return r_.find(Purpose::kLowStrong, static_cast<int>(input - r_.setup().inputs().begin()));
  }

  void noise() {
    for (const model::JigChannel& channel : r_.jig().channels()) {
      if (channel.kind == proto::CHANNEL_KIND_AUXILIARY || channel.per_code == 0) continue;
      const double nominal = channel.noise_rms / std::abs(channel.per_code);
      // Rounding to whole codes adds 1/12 code in squares.
      const double expected = std::hypot(nominal, std::sqrt(1.0 / 12));
      const Observed* there = at_rest(channel);
      // At an end of its range a channel shows half its noise or none.
      const bool seen = there != nullptr && !r_.clipped(*there, channel.index);
      const double found = seen ? there->deviation_code[channel.index] : NAN;
      const double u = !seen ? NAN : kCoverage * found / std::sqrt(2 * there->scans);
      const double off_by = found - expected;
      proto::TestItem& item =
          add_item(report_, "noise", channel.name,
                   off_by < 0 && found > 0 ? decide(0, 0, 1) : decide(off_by, u, (kNoiseFactor - 1) * expected));
      if (found == 0) item.set_outcome(proto::TEST_OUTCOME_FAIL);
      fill(item, fmt::format("{:.2f} codes rms", found), fmt::format("{:.2f} codes rms", kNoiseFactor * expected),
           "noise_code_rms of the description, and half as much again",
           !seen        ? "at the end of its range: see its map"
           : found == 0 ? "does not move by a code: stuck"
                        : "noisier than described: pick-up, a bad joint, a wrong capacitor");
      if (item.outcome() != proto::TEST_OUTCOME_PASS && found > 0) noises_.push_back({channel.name, found});
    }
  }

  void map(int input) {
    const std::string& name = r_.setup().inputs(input).channel();
    const std::vector<int> found = r_.responders(input);
    const bool seen = r_.find(r_.map_purpose(input), input) != nullptr;
    const bool right = found.size() == 1 && found[0] == input;
    std::string who;
    for (const int k : found) who += (who.empty() ? "" : ", ") + r_.setup().inputs(k).channel();
    proto::TestItem& item = add_item(report_, "map", name,
                                     !seen   ? proto::TEST_OUTCOME_UNDECIDED
                                     : right ? proto::TEST_OUTCOME_PASS
                                             : proto::TEST_OUTCOME_FAIL);
    std::string words = "was not reached";
    if (seen && found.empty()) {
      words = "no channel follows its tap: lead off, Rp or Rt open, Rb shorted, or the test plug not in";
    } else if (seen && !right) {
      words = fmt::format("its tap is seen by {}", who);
      if (found.size() == 1) words += swapped(input, found[0]);
    }
    fill(item, found.empty() ? "nothing" : "seen by " + who, "its own channel alone", "channel map of the description",
         words);
    if (!right) r_.unmap(input);
  }

  std::string swapped(int input, int other) {
    const std::vector<int> back = r_.responders(other);
    if (back.size() != 1 || back[0] != input) return "";
    if (input < other) swaps_.push_back({r_.setup().inputs(input).channel(), r_.setup().inputs(other).channel()});
    return fmt::format(": {} and {} are swapped", r_.setup().inputs(input).channel(),
                       r_.setup().inputs(other).channel());
  }

  /// Ground above the return, by what the open channels of the group read while `driven` is joined: V, and A through
  /// it.
  struct Lift {
    int driven = 0;
    int listening = 0;
    double ohm = 0;
    double u_ohm = 0;
  };
  /// What a divider that ends at the reference draws out of the group's ground, through the bleed at its tap.
  double resting_amps(char group) const {
    double amps = 0;
    for (int i = 0; i < r_.setup().inputs_size(); ++i) {
      const proto::TestInput& one = r_.setup().inputs(i);
      if (one.one_leg() || one.bleed_ohm() == 0 || r_.group(i) != group) continue;
      amps += one.lower_end_v() / (one.upper_ohm() + one.lower_ohm() + one.bleed_ohm());
    }
    return amps;
  }

  std::vector<Lift> lifts(char group) const {
    std::vector<Lift> out;
    for (int n = 0; n < r_.setup().inputs_size(); ++n) {
      const proto::TestInput& driven = r_.setup().inputs(n);
      const Observed* high = r_.find(Purpose::kHigh, n);
      if (high == nullptr || driven.one_leg() || !r_.mapped(n) || r_.group(n) != group) continue;
      const double level = r_.level_of(*high);
      const double rise = r_.volts(*high, r_.channel_of(n)) - r_.zero_volts(n, false).value_or(NAN);
      const double amps = rise / gain_of(driven) / (driven.upper_ohm() + driven.lower_ohm());
      if (!(std::abs(amps) > 0.2 * level / (driven.upper_ohm() + driven.lower_ohm() + r_.setup().strong_ohm())))
        continue;
      for (int k = 0; k < r_.setup().inputs_size(); ++k) {
        const proto::TestInput& other = r_.setup().inputs(k);
        if (k == n || other.one_leg() || other.lower_end_v() != 0 || !r_.mapped(k)) continue;
        if (r_.group(k) != group) continue;
        const double lifted =
            (r_.volts(*high, r_.channel_of(k)) - r_.zero_volts(k, false).value_or(NAN)) / gain_of(other);
        const double through = amps - resting_amps(group);
        out.push_back({n, k, lifted / through, r_.inl_v() / 4 / gain_of(other) / std::abs(through)});
      }
    }
    return out;
  }

  void ties() {
    std::map<char, bool> groups;
    for (int i = 0; i < r_.setup().inputs_size(); ++i) {
      if (!r_.setup().inputs(i).one_leg()) groups[r_.group(i)] = true;
    }
    for (const auto& [group, known] : groups) tie(group);
  }

  double expected_ground_ohm(char group) const {
    double siemens = 1 / r_.setup().tie_ohm();
    for (int i = 0; i < r_.setup().inputs_size(); ++i) {
      const proto::TestInput& one = r_.setup().inputs(i);
      if (!one.one_leg() && r_.group(i) == group) siemens += 1 / (one.upper_ohm() + one.lower_ohm());
    }
    return 1 / siemens;
  }

  void tie(char group) {
    std::vector<Lift> all = lifts(group);
    const std::string subject = fmt::format("group {}", group);
    const double expected = expected_ground_ohm(group);
    if (all.empty()) {
      fill(add_item(report_, "ground-tie", subject, proto::TEST_OUTCOME_UNDECIDED), "none", "", "",
           "no two channels of it to tell by");
      r_.set_ground(group, expected, true);
      return;
    }
    std::ranges::sort(all, {}, &Lift::ohm);
    const Lift& middle = all[all.size() / 2];
    proto::TestItem& item =
        add_item(report_, "ground-tie", subject, decide(middle.ohm - expected, middle.u_ohm, kTieShare * expected));
    fill(item, ohms(middle.ohm), fmt::format("{} within {:.0f} %", ohms(expected), 100 * kTieShare),
         "tie and lower legs of the setup, side by side",
         middle.ohm > 2 * expected ? "the group's ground tie is open"
                                   : "the group's ground tie is not what it should be");
    const bool tied = item.outcome() == proto::TEST_OUTCOME_PASS;
    r_.set_ground(group, middle.ohm, tied);
    for (int k = 0; k < r_.setup().inputs_size(); ++k) return_leg(k, group, all, expected, tied);
  }

  // An open channel reads the ground's lift through its lower leg alone.
  void return_leg(int input, char group, const std::vector<Lift>& all, double expected, bool tied) {
    const proto::TestInput& one = r_.setup().inputs(input);
    if (one.one_leg() || r_.group(input) != group || one.lower_end_v() != 0) return;
    std::vector<Lift> own;
    std::ranges::copy_if(all, std::back_inserter(own), [&](const Lift& lift) { return lift.listening == input; });
    std::ranges::sort(own, {}, &Lift::u_ohm);
    const double share = own.empty() ? NAN : own[0].ohm / expected;
    const double u = own.empty() ? NAN : own[0].u_ohm / expected;
    proto::TestItem& item =
        add_item(report_, "return-leg", one.channel(),
                 tied && !own.empty() ? decide(share - 1, u, 2 * kTieShare) : proto::TEST_OUTCOME_UNDECIDED);
    if (item.outcome() == proto::TEST_OUTCOME_FAIL) r_.set_leg(input, false);
    fill(item, own.empty() ? "none" : fmt::format("{:.0f} % of the ground's lift", 100 * share),
         fmt::format("100 +- {:.0f} %", 200 * kTieShare), "lower leg alike to the upper one, front-end.md",
         !tied         ? "the group's tie hides it"
         : own.empty() ? "no other channel of its group to tell by"
         : share < 0.5 ? "the return's lead or its 1 kohm is off"
                       : "the return's leg is not like the upper one");
  }

  // What the description says about the channel, against what it reads.
  void scale(int input) {
    const proto::TestInput& one = r_.setup().inputs(input);
    const model::JigChannel& channel = *r_.jig().find(one.channel());
    const Observed* high = r_.find(Purpose::kHigh, input);
    const auto zero = r_.zero_volts(input, false);
    const double level = high == nullptr ? 0 : r_.level_of(*high);
    const double tap = tap_volts(one, level, r_.setup().strong_ohm(), r_.ground_ohm(input)) +
                       resting_volts(one, r_.setup().strong_ohm());
    double read = NAN;
    if (high != nullptr && zero && r_.mapped(input) && r_.tied(input) && !r_.clipped(*high, channel.index)) {
      read = channel.value(high->mean_code[channel.index]);
    }
    const double u = r_.setup().source_tolerance() * tap + r_.inl_v() / gain_of(one);
    const double allowed = kScaleShare * tap + kRangeShare * r_.setup().converter_full_scale_v() / gain_of(one);
    proto::TestItem& item = add_item(report_, "scale", one.channel(), decide(read - tap, u, allowed));
    std::string words = r_.mapped(input) ? "a wrong resistor, or the description's scale" : "see its map";
    if (high != nullptr && r_.mapped(input) && r_.clipped(*high, channel.index)) {
      words = "end of range: Rt shorted, or Rb open";
    }
    fill(item, fmt::format("{:.4g} V", read), fmt::format("{:.4g} +- {:.2g} V", tap, allowed),
         "bring-up.md: within 2 %; 0.5 % of its range for its offset", words);
    if (item.outcome() != proto::TEST_OUTCOME_FAIL || !(tap > 0)) return;
    const double lift = tap - resting_volts(one, r_.setup().strong_ohm());
    const double per_code =
        lift * r_.setup().converter_full_scale_v() / kCodes / (r_.volts(*high, channel.index) - *zero);
    const double zero_code = *zero * kCodes / r_.setup().converter_full_scale_v() - kCodes / 2;
    scales_.push_back({one.channel(), per_code, resting_volts(one, r_.setup().strong_ohm()) - zero_code * per_code});
  }

  std::optional<TwoReadings> readings(int input) const {
    const Observed* strong = r_.find(Purpose::kLowStrong, input);
    const Observed* weak = r_.find(Purpose::kLowWeak, input);
    const auto strong_zero = r_.zero_volts(input, false);
    const auto weak_zero = r_.zero_volts(input, true);
    const std::size_t channel = r_.channel_of(input);
    if (strong == nullptr || weak == nullptr || !strong_zero || !weak_zero) return std::nullopt;
    if (r_.clipped(*strong, channel) || r_.clipped(*weak, channel)) return std::nullopt;
    return TwoReadings{.level_v = r_.level_of(*strong),
                       .strong_ohm = r_.setup().strong_ohm(),
                       .weak_ohm = r_.setup().weak_ohm(),
                       .strong_v = r_.volts(*strong, channel) - *strong_zero,
                       .weak_v = r_.volts(*weak, channel) - *weak_zero};
  }

  void resistors(int input) {
    const proto::TestInput& one = r_.setup().inputs(input);
    if (one.attenuation() > 0) return;  // its scale is all that the source can tell
    const auto read = readings(input);
    const auto found = read && r_.mapped(input) && r_.sound(input)
                           ? divider_of(*read, r_.ground_ohm(input), one.bleed_ohm())
                           : std::nullopt;
    const double allowed = r_.setup().part_tolerance() + kRowStep / 2;
    double u_upper = NAN;
    double u_lower = NAN;
    if (found) std::tie(u_upper, u_lower) = uncertainty(*read, *found, input);
    const Divider is = found.value_or(Divider{.upper_ohm = NAN, .lower_ohm = NAN, .input_ohm = NAN, .gain = NAN});
    const double upper_off = is.upper_ohm / one.upper_ohm() - 1;
    const double lower_off = is.lower_ohm / one.lower_ohm() - 1;
    const proto::TestOutcome upper = decide(upper_off, u_upper, allowed);
    const proto::TestOutcome lower = decide(lower_off, u_lower, allowed);
    const auto worse = [](proto::TestOutcome a, proto::TestOutcome b) {
      if (a == proto::TEST_OUTCOME_FAIL || b == proto::TEST_OUTCOME_FAIL) return proto::TEST_OUTCOME_FAIL;
      return a == proto::TEST_OUTCOME_PASS ? b : a;
    };
    proto::TestItem& item = add_item(report_, "resistors", one.channel(), worse(upper, lower));
    std::string words = "could not be told: see its map, its return leg and its group's tie";
    if (found && upper == proto::TEST_OUTCOME_FAIL) {
      words = fmt::format("Rp + Rt is {} instead of {}", ohms(is.upper_ohm), ohms(one.upper_ohm()));
      if (lower == proto::TEST_OUTCOME_FAIL) words += ", and ";
    }
    if (found && lower == proto::TEST_OUTCOME_FAIL) {
      words = (upper == proto::TEST_OUTCOME_FAIL ? words : "") +
              fmt::format("Rb is {} instead of {}", ohms(is.lower_ohm), ohms(one.lower_ohm()));
    }
    fill(item, found ? fmt::format("{} and {}", ohms(is.upper_ohm), ohms(is.lower_ohm)) : "none",
         fmt::format("{} and {} within {:.1f} %", ohms(one.upper_ohm()), ohms(one.lower_ohm()), 100 * allowed),
         "front-end.md; tolerance and half a step of the E96 row", words);
  }

  /// Shares: how far source and converter may move the two, each by itself, added up.
  std::pair<double, double> uncertainty(const TwoReadings& read, const Divider& found, int input) const {
    double upper = 0;
    double lower = 0;
    const auto moved = [&](TwoReadings other) {
      const auto there = divider_of(other, r_.ground_ohm(input), r_.setup().inputs(input).bleed_ohm());
      upper += there ? std::abs(there->upper_ohm - found.upper_ohm) / found.upper_ohm : NAN;
      lower += there ? std::abs(there->lower_ohm - found.lower_ohm) / found.lower_ohm : NAN;
    };
    TwoReadings other = read;
    other.level_v *= 1 + r_.setup().source_tolerance();
    moved(other);
    other = read;
    other.weak_ohm *= 1 + r_.setup().source_tolerance();
    moved(other);
    // Near one another and near zero a converter bends by less than its bound; half of it either way.
    other = read;
    other.strong_v += r_.inl_v() / 2;
    moved(other);
    other = read;
    other.weak_v += r_.inl_v() / 2;
    moved(other);
    return {upper, lower};
  }

  void clamp(int input) {
    const proto::TestInput& one = r_.setup().inputs(input);
    if (one.attenuation() > 0) return;
    const Observed* high = r_.find(Purpose::kHighWeak, input);
    const auto read = readings(input);
    const auto zero = r_.zero_volts(input, true);
    const std::size_t channel = r_.channel_of(input);
    const auto found = read && r_.mapped(input) && r_.sound(input)
                           ? divider_of(*read, r_.ground_ohm(input), one.bleed_ohm())
                           : std::nullopt;
    double amps = NAN;
    double u = NAN;
    double at = NAN;
    if (high != nullptr && found && zero && !r_.clipped(*high, channel)) {
      const double level = r_.level_of(*high);
      const double rise = r_.volts(*high, channel) - *zero;
      const double scaled = read->weak_v * level / read->level_v;
      const double ohm = found->input_ohm * r_.setup().weak_ohm() / (found->input_ohm + r_.setup().weak_ohm());
      at = rise / found->gain;
      amps = (scaled - rise) / found->gain / ohm;
      u = (r_.setup().source_tolerance() * rise + r_.inl_v() / 2 * (1 + level / read->level_v)) / found->gain / ohm;
    }
    proto::TestItem& item = add_item(report_, "clamp", one.channel(), decide(amps, u, r_.setup().clamp_leakage_a()));
    fill(item, std::isfinite(amps) ? fmt::format("{:+.1f} uA at {:.1f} V", amps * 1e6, at) : "none",
         fmt::format("{:.1f} uA", r_.setup().clamp_leakage_a() * 1e6), "clamp_leakage_a of the setup",
         high == nullptr && read ? "the source has no level above the one its resistors are told by"
         : std::isfinite(amps)   ? "its clamp or a diode leaks"
                                 : "could not be told: see its map, its return leg and its group's tie");
    // Nothing is wrong where the source cannot look: told as not tested.
    if (high == nullptr && read) {
      report_.mutable_items()->RemoveLast();
      proto::NotTested& missing = *report_.add_not_tested();
      missing.set_what(fmt::format("clamp of {}", one.channel()));
      missing.set_why("the source has no level above the one its resistors are told by");
    }
  }

  void sum_up() {
    proto::TestOutcome outcome = proto::TEST_OUTCOME_PASS;
    for (const proto::TestItem& item : report_.items()) {
      if (item.outcome() == proto::TEST_OUTCOME_FAIL) outcome = proto::TEST_OUTCOME_FAIL;
      if (item.outcome() == proto::TEST_OUTCOME_UNDECIDED && outcome == proto::TEST_OUTCOME_PASS) {
        outcome = proto::TEST_OUTCOME_UNDECIDED;
      }
    }
    report_.set_outcome(outcome);
    report_.set_jig(r_.jig().description().id());
  }

  Readings r_;
  proto::SelfTestReport report_;
  std::vector<Swap> swaps_;
  std::vector<Scale> scales_;
  std::vector<Noise> noises_;
};

}  // namespace

proto::SelfTestReport evaluate(const proto::TestSetup& setup, const model::Jig& jig, const Observations& seen) {
  return Evaluation(setup, jig, seen).run();
}

}  // namespace host::selftest
