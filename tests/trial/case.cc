// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/case.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "host/judge/limit.h"

namespace trial {
namespace {

namespace sim = host::simulate;
namespace proto = steadyrail::proto;

constexpr double kVary = 1.3;
constexpr double kRatedA = 57;  // of the simulator's sound supply
constexpr double kLabelA = 56;  // of the label that goes with it

constexpr auto kKinds = std::to_array<std::string_view>(
    {"healthy", "pc-freeze", "freeze-with-surges", "tired-capacitors", "weak-12v", "standby-loss", "overvoltage",
     "group-regulated", "early-trip", "overload", "overcurrent-trip", "loose-connector", "loose-return",
     "intermittent-contact", "mains-brownout"});

/// Log-uniform within 30 %.
class Vary {
 public:
  explicit Vary(std::uint64_t seed) : random_(seed, 26) {}
  double operator()(double value) { return value * std::exp(random_.uniform(-1, 1) * std::log(kVary)); }
  void in_place(double& value) { value = (*this)(value); }
  double between(double least, double most) { return random_.uniform(least, most); }
  double log_between(double least, double most) { return least * std::exp(random_.uniform() * std::log(most / least)); }

 private:
  sim::Random random_;
};

void vary_harness(sim::Harness& harness, Vary& vary) {
  vary.in_place(harness.wire_ohm);
  vary.in_place(harness.downstream_ohm);
  vary.in_place(harness.loop_henry);
  vary.in_place(harness.load_farad);
  vary.in_place(harness.load_esr_ohm);
}

/// Set voltages stay within half a per cent: a supply is adjusted.
void vary_rail(sim::RailParameters& rail, Vary& vary) {
  rail.set_v *= vary.between(0.995, 1.005);
  vary.in_place(rail.bulk_farad);
  vary.in_place(rail.bulk_esr_ohm);
  vary.in_place(rail.loop_gain_a_per_v);
  vary.in_place(rail.droop_ohm);
  for (sim::Harness& harness : rail.harnesses) vary_harness(harness, vary);
}

void vary_group(sim::GroupParameters& group, Vary& vary) {
  for (double* value : {&group.ohm_12v, &group.ohm_5v, &group.henry_12v, &group.henry_5v, &group.farad_12v,
                        &group.farad_5v, &group.esr_12v_ohm, &group.esr_5v_ohm}) {
    vary.in_place(*value);
  }
  for (auto* harnesses : {&group.harnesses_12v, &group.harnesses_5v}) {
    for (sim::Harness& harness : *harnesses) vary_harness(harness, vary);
  }
}

/// The same drops at `size` times the current.
void scale_harness(sim::Harness& harness, double size) {
  harness.wire_ohm /= size;
  harness.downstream_ohm /= size;
  harness.loop_henry /= size;
  harness.load_farad *= size;
  harness.load_esr_ohm /= size;
}

void scale_12v(sim::RailSetParameters& rails, double size) {
  sim::RailParameters& rail = rails.p12v;
  rail.limit_a *= size;
  rail.bulk_farad *= size;
  rail.bulk_esr_ohm /= size;
  rail.loop_gain_a_per_v *= size;
  rail.droop_ohm /= size;
  for (sim::Harness& harness : rail.harnesses) scale_harness(harness, size);
  if (!rails.group) return;
  rails.group->ohm_12v /= size;
  rails.group->henry_12v /= size;
  rails.group->farad_12v *= size;
  rails.group->esr_12v_ohm /= size;
  for (sim::Harness& harness : rails.group->harnesses_12v) scale_harness(harness, size);
}

/// A supply `size` times as large as the simulator's, its label with it.
void vary_supply(sim::SupplyParameters& supply, double size, Vary& vary) {
  sim::RailSetParameters& rails = supply.rails;
  for (sim::RailParameters* rail : {&rails.p12v, &rails.p5v, &rails.p3v3, &rails.m12v, &rails.p5vsb}) {
    vary_rail(*rail, vary);
  }
  scale_12v(rails, size);
  if (rails.group) vary_group(*rails.group, vary);
  for (sim::ReturnPath& path : rails.returns) {
    path.upstream_ohm = vary(path.upstream_ohm) / size;
    path.downstream_ohm = vary(path.downstream_ohm) / size;
  }
  vary.in_place(rails.tie_ohm);
  vary.in_place(supply.mains_residue_v);
  vary.in_place(supply.ripple_current_pp_a);
  vary.in_place(supply.sequence.bulk.farad);
  supply.sequence.bulk.farad *= size;
  supply.sequence.protection.rated_12v_a *= size;
  supply.sequence.protection.rated_w *= size;
  supply.sequence.bulk.input_w *= size;
}

void vary_track(TrackParameters& track, double size, Vary& vary) {
  for (double* value : {&track.frame_hz, &track.excursion_s, &track.load.excursion_chance, &track.scene_deviation}) {
    vary.in_place(*value);
  }
  const double busy = vary(1);
  track.busy_least = std::min(0.8, track.busy_least * busy);
  track.busy_most = std::min(0.9, track.busy_most * busy);
  track.load.graphics_scale *= size;
  track.load.processor_scale *= size * vary(1);
  // The peak stays a peak of the same level: between 1.9 and 2.4 times it.
  track.load.excursion_factor *= vary.between(0.87, 1.1);
  track.load.logic_5v_amps = vary(track.load.logic_5v_amps);
  track.menu_chance = vary.between(0.5, 0.9);
}

void scale_label(proto::Unit& unit, double size) {
  unit.set_total_w(unit.total_w() * size);
  for (auto& rail : *unit.mutable_rails()) {
    if (rail.rail() == proto::RAIL_P12V) rail.set_amps(rail.amps() * size);
  }
}

/// How the PC of a customer is used, besides what the scenario says of it.
void use(TrackParameters& track, Vary& vary) {
  track.roams = false;
  track.standby_pause_least_s = 5;
  track.standby_pause_most_s = vary(40);
}

/// What a kind changes after everything has been varied round its scenario.
void finish(std::string_view kind, SessionPlan& plan, Vary& vary) {
  TrackParameters& track = plan.track;
  sim::SupplyParameters& supply = plan.supply;
  if (kind == "pc-freeze" || kind == "freeze-with-surges" || kind == "tired-capacitors") {
    track.freeze_every_s = vary.log_between(250, 900);
  }
  if (kind == "freeze-with-surges") {
    track.surges_heavy_per_h = vary.log_between(6, 600);
    track.surges_light_per_h = track.surges_heavy_per_h / vary.log_between(5, 50);
    track.surge_a = vary.between(8, 12);
    vary.in_place(track.surge_s);
  }
  if (kind == "weak-12v") vary.in_place(supply.rails.p12v.limit_a);
  if (kind == "standby-loss") {
    vary.in_place(supply.rails.p5vsb.limit_a);
    vary.in_place(track.load.standby_burst_amps);
    vary.in_place(track.load.standby_burst_most_s);
  }
  if (kind == "overvoltage") {
    supply.drift.begin_s = vary.between(60, plan.seconds / 2);
    supply.drift.full_s = supply.drift.begin_s + vary(3);
    vary.in_place(supply.drift.share);
  }
  if (kind == "early-trip") {
    supply.sequence.protection.rated_12v_a *= vary.between(0.45, 0.6);  // trips at 1.3 times this
  }
  if (supply.contact) {
    vary.in_place(supply.contact->ohm);
    vary.in_place(supply.contact->closed_mean_s);
    vary.in_place(supply.contact->open_mean_s);
  }
  if (kind == "mains-brownout") {
    supply.mains.dip_every_s = vary(150);
    vary.in_place(supply.mains.dip_least_s);
    vary.in_place(supply.mains.dip_most_s);
  }
}

TrackParameters track_of(const sim::SupplyParameters& supply) {
  TrackParameters track;
  track.load = supply.load;
  track.hang_below_v = supply.pc.hang_below_v;
  track.hang_chance = supply.pc.hang_chance;
  track.freeze_every_s = supply.pc.freeze_every_s;
  return track;
}

std::string_view scenario_of(std::string_view kind) {
  if (kind == "freeze-with-surges") return "pc-freeze";
  if (kind == "early-trip") return "healthy";
  return kind;
}

bool overloads(std::string_view kind) {
  return kind == "overload" || kind == "overcurrent-trip";
}

/// How far a channel's readings went beyond its limits, of the nominal; below 0: they stayed inside.
double beyond(const Truth& truth, const host::model::Jig& jig, const proto::LimitSet& limits) {
  double worst = -1;
  for (const auto& channel : jig.channels()) {
    if (channel.kind != proto::CHANNEL_KIND_RAIL_VOLTAGE) continue;
    const auto limit = host::judge::limit_for(limits, channel);
    if (!limit || truth.least[channel.index] > truth.most[channel.index]) continue;
    const double nominal = std::abs(host::model::rail_nominal_v(channel.rail));
    worst = std::max(worst, (limit->low.volts() - truth.least[channel.index]) / nominal);
    worst = std::max(worst, (truth.most[channel.index] - limit->high.volts()) / nominal);
  }
  return worst;
}

}  // namespace

std::span<const std::string_view> kinds() {
  return kKinds;
}

bool innocent(std::string_view kind) {
  return kind == "healthy" || kind == "pc-freeze" || kind == "freeze-with-surges";
}

std::expected<Case, std::string> draw(std::string_view kind, std::uint64_t seed, const proto::Unit& label) {
  if (std::ranges::find(kKinds, kind) == kKinds.end()) return std::unexpected("no kind of session is named so");
  auto supply = sim::supply_of(scenario_of(kind));
  if (!supply) return std::unexpected(supply.error());
  Vary vary(seed);
  Case out;
  out.unit = label;
  const double size = vary(1);
  scale_label(out.unit, size);
  vary_supply(*supply, size, vary);
  TrackParameters track = track_of(*supply);
  // A sound PC stays inside its label, at most 1.1 times the scenario's load; one that overloads does so surely.
  const double load = overloads(kind) ? vary.log_between(1, kVary) : vary.log_between(1 / kVary, 1.1);
  vary_track(track, size * load, vary);
  track.freeze_every_s = 0;
  use(track, vary);
  out.plan.supply = *supply;
  out.plan.track = track;
  out.plan.seed = seed;
  out.plan.label_12v_a = kLabelA * size;
  finish(kind, out.plan, vary);
  return out;
}

std::expected<Case, std::string> as_rehearsed(std::string_view scenario, std::uint64_t seed, const proto::Unit& label) {
  auto supply = sim::supply_of(scenario);
  if (!supply) return std::unexpected(supply.error());
  Case out;
  out.unit = label;
  out.plan.supply = *supply;
  out.plan.track = track_of(*supply);
  out.plan.seed = seed;
  out.plan.step_captures_per_s = 1.5;  // what the line leaves room for
  return out;
}

Expected expected(std::string_view kind, const Truth& truth, const host::model::Jig& jig,
                  const proto::LimitSet& limits) {
  // A reading is surely beyond a limit when it is by 0.25 % of nominal: more than twice any voltage channel's U.
  constexpr double kSurely = 0.0025;
  const auto grade = [&](double share) {
    return share > kSurely ? Sight::kVisible : share > -kSurely ? Sight::kBorderline : Sight::kHidden;
  };
  if (innocent(kind)) {
    const bool hurt = std::ranges::any_of(truth.lock_ups, [](const LockUp& lock_up) { return !lock_up.own; });
    Expected out;
    out.spoiled = hurt || grade(beyond(truth, jig, limits)) != Sight::kHidden;
    return out;
  }
  if (kind == "mains-brownout")
    return Expected{proto::CONCLUSION_MAINS, truth.shutdowns > 0 ? Sight::kVisible : Sight::kHidden};
  if (kind.starts_with("loose") || kind.starts_with("intermittent")) return {proto::CONCLUSION_WIRING, Sight::kVisible};
  const auto& p12v = *std::ranges::find_if(jig.channels(), [](const auto& c) { return c.rail == proto::RAIL_P12V; });
  const double least_12v = host::judge::limit_for(limits, p12v)->low.volts();
  if (overloads(kind)) {
    const Sight sags = grade((least_12v - truth.least_outside_v) / 12);
    Expected out{proto::CONCLUSION_SUPPLY_TOO_SMALL, truth.trips > 0 ? Sight::kVisible : sags};
    out.faulty_too = grade(beyond(truth, jig, limits)) != Sight::kHidden;
    return out;
  }
  if (kind == "early-trip") {
    return {proto::CONCLUSION_SUPPLY_FAULTY, truth.trips > 0 ? Sight::kVisible : Sight::kHidden};
  }
  Sight sight = truth.shutdowns > 0 ? Sight::kVisible : grade(beyond(truth, jig, limits));
  // Left while the load was above the label, or as it came back from there: the allowance decides whether that counts.
  if (sight == Sight::kHidden && truth.least_12v_v < least_12v) sight = Sight::kBorderline;
  return {proto::CONCLUSION_SUPPLY_FAULTY, sight};
}

}  // namespace trial
