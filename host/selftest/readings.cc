// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/readings.h"

#include <cmath>

#include <fmt/format.h>

#include "host/selftest/circuit.h"
#include "host/selftest/setup.h"

namespace host::selftest {

namespace proto = steadyrail::proto;

namespace {
constexpr double kCodes = 65536;
constexpr double kRespondsShare = 0.3;  // of the tap's voltage: an open tie lifts others by a tenth; own choice
}  // namespace

proto::TestOutcome decide(double off, double uncertainty, double allowed) {
  if (!std::isfinite(off) || !std::isfinite(uncertainty)) return proto::TEST_OUTCOME_UNDECIDED;
  if (std::abs(off) + uncertainty <= allowed) return proto::TEST_OUTCOME_PASS;
  return std::abs(off) - uncertainty > allowed ? proto::TEST_OUTCOME_FAIL : proto::TEST_OUTCOME_UNDECIDED;
}

std::string ohms(double value) {
  if (std::abs(value) >= 999.5) return fmt::format("{:.2f} kohm", value * 1e-3);
  return fmt::format("{:.1f} ohm", value);
}

proto::TestItem& add_item(proto::SelfTestReport& report, std::string_view check, std::string_view subject,
                          proto::TestOutcome outcome) {
  proto::TestItem& item = *report.add_items();
  item.set_check(std::string(check));
  item.set_subject(std::string(subject));
  item.set_outcome(outcome);
  return item;
}

void fill(proto::TestItem& item, std::string figure, std::string limit, std::string_view source, std::string words) {
  item.set_figure(std::move(figure));
  item.set_limit(std::move(limit));
  item.set_source(std::string(source));
  if (item.outcome() != proto::TEST_OUTCOME_PASS) item.set_words(std::move(words));
}

const Observed* Readings::find(Purpose purpose, int input, int link) const {
  for (const Observed& one : seen_.stimuli) {
    const Stimulus& s = one.stimulus;
    if (s.purpose == purpose && (input < 0 || s.input == input) && (link < 0 || s.link == link) && one.scans > 0) {
      return &one;
    }
  }
  return nullptr;
}

std::size_t Readings::channel_of(int input) const {
  return jig_.find(setup_.inputs(input).channel())->index;
}

char Readings::group(int input) const {
  return group_of(jig_, channel_of(input));
}

double Readings::volts(const Observed& one, std::size_t channel) const {
  return converter_volts(setup_, one.mean_code[channel]);
}

double Readings::inl_v() const {
  return setup_.converter_full_scale_v() * setup_.converter_inl_codes() / kCodes;
}

std::optional<double> Readings::zero_volts(int input, bool weak) const {
  const std::size_t channel = channel_of(input);
  if (at_zero_of(setup_.inputs(input)) != 0) {
    const Observed* one = find(weak ? Purpose::kZeroWeak : Purpose::kZeroStrong, input);
    return one == nullptr ? std::nullopt : std::optional(volts(*one, channel));
  }
  const Observed* small = find(Purpose::kSmall, input);
  const Observed* low = find(Purpose::kLowStrong, input);
  if (small == nullptr || low == nullptr) return std::nullopt;
  const double small_v = level_of(*small);
  const double rise = (volts(*low, channel) - volts(*small, channel)) / (level_of(*low) - small_v);
  return volts(*small, channel) - rise * small_v;
}

double Readings::expected_zero(const proto::TestInput& input) const {
  return at_zero_of(input) + gain_of(input) * resting_volts(input, setup_.strong_ohm());
}

Purpose Readings::map_purpose(int input) const {
  return setup_.inputs(input).attenuation() > 0 ? Purpose::kHigh : Purpose::kLowStrong;
}

std::vector<int> Readings::responders(int input) const {
  std::vector<int> out;
  const Observed* joined = find(map_purpose(input), input);
  const Observed* off = find(Purpose::kOff);
  if (joined == nullptr || off == nullptr) return out;
  const double lift_v = expected_lift(input, map_purpose(input)) / gain_of(setup_.inputs(input));
  for (int k = 0; k < setup_.inputs_size(); ++k) {
    const bool from_zero = k == input && at_zero_of(setup_.inputs(k)) != 0;
    const double rest = from_zero ? zero_volts(k, false).value_or(NAN) : volts(*off, channel_of(k));
    const double moved_v = std::abs(volts(*joined, channel_of(k)) - rest) / gain_of(setup_.inputs(k));
    if (moved_v > kRespondsShare * lift_v) out.push_back(k);
  }
  return out;
}

double Readings::expected_lift(int input, Purpose purpose) const {
  const Observed* one = find(purpose, input);
  if (one == nullptr) return 0;
  const proto::TestInput& in = setup_.inputs(input);
  return gain_of(in) * tap_volts(in, level_of(*one), setup_.strong_ohm(), setup_.tie_ohm());
}

bool Readings::sound(int input) const {
  const auto found = legs_.find(input);
  return tied(input) && (found == legs_.end() || found->second);
}

double Readings::ground_ohm(int input) const {
  if (setup_.inputs(input).one_leg()) return 0;
  const auto found = grounds_.find(group(input));
  return found == grounds_.end() ? setup_.tie_ohm() : found->second.ohm;
}

bool Readings::tied(int input) const {
  if (setup_.inputs(input).one_leg()) return true;
  const auto found = grounds_.find(group(input));
  return found == grounds_.end() || found->second.sound;
}

}  // namespace host::selftest
