// SPDX-License-Identifier: Apache-2.0
// The simulated jig's parts, and what can be wrong with them.
#include <algorithm>
#include <array>
#include <cmath>

#include "host/simulate/front_end.h"
#include "host/simulate/test_plugs.h"

namespace host::simulate {
namespace {

namespace proto = steadyrail::proto;

constexpr double kCodes = 65536;
constexpr int kSubStepsOfAScan = 64;
constexpr double kOpenOhm = 1e9;
constexpr double kClockShare = 0.001;  // a crystal of the wrong make

constexpr std::array<BuildFault, 13> kFaults = {{
    {"wrong-upper", "A resistor between tap and divider two steps of its row too large."},
    {"wrong-lower", "The divider's lower resistor two steps of its row too large."},
    {"swapped-channels", "Two leads of one group on each other's tap."},
    {"open-lead", "The lead of a tap is off."},
    {"open-return", "The return's lead of a pair is off."},
    {"open-tie", "A group's ground tie is open."},
    {"open-link", "A straight-through pin does not pass through."},
    {"leaky-clamp", "A clamp takes 50 uA at 12 V."},
    {"cross-talk", "2 % of one channel shows in one of another group."},
    {"skewed", "One channel is sampled 10 us late."},
    {"noisy", "One channel has three times its noise."},
    {"stuck", "One channel does not move."},
    {"clock-off", "The sample clock runs 0.1 % fast."},
}};

}  // namespace

std::span<const BuildFault> build_faults() {
  return kFaults;
}

double clock_fault(std::span<const std::string> faults) {
  return std::ranges::find(faults, "clock-off") == faults.end() ? 0 : kClockShare;
}

std::expected<void, std::string> TestPlugs::build(const proto::JigDescription& jig, const proto::TestSetup& setup) {
  scan_rate_hz_ = jig.scan_rate_hz();
  full_scale_v_ = setup.converter_full_scale_v();
  bow_codes_ = setup.converter_inl_codes() / 2 * random_.uniform(-1, 1);
  for (int k = 0; k < setup.level_v_size() && k < 8; ++k) {
    level_v_[static_cast<std::size_t>(k)] = drawn(setup.level_v(k), setup.source_tolerance() / 2);
  }
  strong_ohm_ = drawn(setup.strong_ohm(), setup.source_tolerance() / 2);
  weak_ohm_ = drawn(setup.weak_ohm(), setup.source_tolerance() / 2);
  for (const proto::Channel& described : jig.channels()) {
    if (described.index() >= channels_.size()) return std::unexpected("a channel beyond 23");
    if (described.pole_hz_size() > static_cast<int>(FrontEnd::kPolesMax))
      return std::unexpected("more than four poles");
    Channel& channel = channels_[described.index()];
    channel.used = true;
    const double volts_per_code = full_scale_v_ / kCodes;
    channel.rest_v = described.kind() == proto::CHANNEL_KIND_AUXILIARY
                         ? full_scale_v_ / 2
                         : volts_per_code * (kCodes / 2 - described.unit_at_code_0() / described.unit_per_code());
    channel.scale = drawn(1, setup.source_tolerance() / 4);
    channel.offset_v = setup.converter_offset_v() / 2 * random_.uniform(-1, 1);
    channel.noise_codes = described.noise_code_rms();
    for (const double hz : described.pole_hz()) {
      const double true_hz = drawn(hz, setup.capacitor_tolerance() / 2);
      channel.keep.push_back(pole_update(true_hz, 1 / (scan_rate_hz_ * kSubStepsOfAScan))[0]);
      channel.state.push_back(0);
    }
  }
  link_inputs_.assign(8, static_cast<std::size_t>(setup.inputs_size()));
  for (const proto::TestInput& from : setup.inputs()) {
    const auto described = std::ranges::find(jig.channels(), from.channel(), &proto::Channel::name);
    const char letter = described->input().empty() ? '?' : described->input()[0];
    auto group = std::ranges::find(groups_, letter, &Group::letter);
    if (group == groups_.end()) {
      group = groups_.insert(groups_.end(), {letter, drawn(setup.tie_ohm(), 0.01)});
    }
    Input in;
    in.channel = described->index();
    in.name = from.channel();
    in.group = static_cast<std::size_t>(group - groups_.begin());
    for (int leg = 0; leg < 2; ++leg) {
      in.upper[leg] = drawn(from.upper_ohm(), setup.part_tolerance());
      in.lower[leg] = drawn(from.lower_ohm(), setup.part_tolerance());
    }
    in.end_v = from.lower_end_v();
    in.one_leg = from.one_leg();
    in.bleed = from.bleed_ohm();
    in.attenuation = from.attenuation();
    in.attenuation_ohm = from.attenuation_ohm();
    if (from.has_gain()) in.gain = from.gain();
    in.at_zero_v = from.at_zero_v();
    in.lead_at = inputs_.size();
    for (int k = 0; k < setup.links_size(); ++k) {
      if (setup.links(k).channel() != from.channel()) continue;
      link_inputs_[setup.links(k).output() - 24] = inputs_.size();
    }
    inputs_.push_back(std::move(in));
  }
  return {};
}

std::expected<void, std::string> TestPlugs::place(const std::string& fault, const proto::TestSetup& setup) {
  const std::size_t colon = fault.find(':');
  const std::string name = fault.substr(0, colon);
  const std::string where = colon == std::string::npos ? "" : fault.substr(colon + 1);
  if (std::ranges::find(kFaults, name, &BuildFault::name) == kFaults.end()) {
    std::string known;
    for (const BuildFault& one : kFaults) known += (known.empty() ? "" : ", ") + std::string(one.name);
    return std::unexpected("unknown fault '" + name + "'; there are " + known);
  }
  if (name == "clock-off") {
    placed_.push_back(name);
    return {};
  }
  if (name == "open-link") {
    const auto chosen = places_.bits() % static_cast<std::uint64_t>(std::max(setup.links_size(), 1));
    for (int k = 0; k < setup.links_size(); ++k) {
      const proto::TestLink& link = setup.links(k);
      if (where.empty() ? static_cast<std::uint64_t>(k) != chosen : link.name() != where) continue;
      links_open_ |= std::uint32_t{1} << (link.output() - 24);
      placed_.push_back(name + " at " + link.name());
      return {};
    }
    return std::unexpected("no link '" + where + "' for " + name);
  }
  // A place that the fault can be told at: a divider, for a swap one with a neighbour in its group.
  std::vector<std::size_t> candidates;
  for (std::size_t i = 0; i < inputs_.size(); ++i) {
    const Input& in = inputs_[i];
    // A leak grows with the voltage: where 12 V never come it is none.
    const double range_v = full_scale_v_ * (in.upper[0] + in.lower[0]) / in.lower[0];
    const bool plain = !in.one_leg && in.end_v == 0 && (name != "leaky-clamp" || range_v > 12);
    if (where.empty() ? plain : in.name == where || std::string(1, groups_[in.group].letter) == where) {
      candidates.push_back(i);
    }
  }
  if (candidates.empty()) return std::unexpected("no channel or group '" + where + "' for " + name);
  spoil(name, candidates[where.empty() ? places_.bits() % candidates.size() : 0]);
  return {};
}

void TestPlugs::spoil(const std::string& name, std::size_t input) {
  constexpr double kTwoSteps = 1.0488;  // 1.0241 twice: the E96 row
  Input& in = inputs_[input];
  Channel& channel = channels_[in.channel];
  std::string at = in.name;
  if (name == "wrong-upper") in.upper[0] *= kTwoSteps;
  if (name == "wrong-lower") in.lower[0] *= kTwoSteps;
  if (name == "open-lead") in.lead_off = true;
  if (name == "open-return") in.return_off = true;
  if (name == "leaky-clamp") in.leak_a = 50e-6;
  if (name == "noisy") channel.noise_codes *= 3;
  if (name == "stuck") {
    channel.noise_codes = 0;
    channel.scale = 0;
  }
  if (name == "skewed") channel.delay = static_cast<int>(std::lround(10e-6 * scan_rate_hz_ * kSubStepsOfAScan));
  if (name == "open-tie") {
    groups_[in.group].tie = kOpenOhm;
    at = std::string("group ") + groups_[in.group].letter;
  }
  for (std::size_t other = 0; other < inputs_.size(); ++other) {
    if (other == input || inputs_[other].one_leg || inputs_[other].end_v != 0) continue;
    const bool neighbour = inputs_[other].group == in.group;
    if (name == "swapped-channels" && neighbour) {
      std::swap(in.lead_at, inputs_[other].lead_at);
      at += " and " + inputs_[other].name;
      break;
    }
    if (name == "cross-talk" && !neighbour) {
      cross_talk_.push_back({input, other, 0.02});
      at += " into " + inputs_[other].name;
      break;
    }
  }
  placed_.push_back(name + " at " + at);
}

}  // namespace host::simulate
