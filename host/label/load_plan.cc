// SPDX-License-Identifier: Apache-2.0
#include "host/label/load_plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>

#include "host/label/load_bank.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

// What the jig's gates and memory can do (proto/wire.md, section 9; link.options).
constexpr int kStepsMost = 32;
constexpr std::uint64_t kGateEdgeLeastUs = 40;
constexpr std::size_t kEdgeTimesPerMs = 24;
constexpr std::uint32_t kRoundsMost = 1'000'000;
constexpr std::size_t kGates = 8;

// So that the jig's answer, its status and the host's clock fit between; own choices.
constexpr double kBeforeS =
    3;  // a supply is up within 0.7 s (T1 and T3 of the design guides); a status comes each second
constexpr double kAfterS = 1;
constexpr double kRestS = 0.5;
constexpr double kPauseSMost = 3600;
constexpr double kAmpsApart = 0.005;  // a current typed with two decimals
constexpr double kCoolingS = 60;      // the jig takes a bank that says nothing to give off energy_j_max in a minute

struct Branch {
  bool there = false;
  proto::Rail rail = proto::RAIL_UNKNOWN;
  std::uint32_t group = 0;
  std::uint32_t ma = 0;
  std::uint32_t mw = 0;
  std::uint64_t on_time_us = 0;
};

std::string two_decimals(std::uint64_t thousandths) {
  return fmt::format("{:.2f}", static_cast<double>(thousandths) * 1e-3);
}

/// A round of one phase, walked through step by step; a second one too where it is repeated, for the edges between.
class Round {
 public:
  Round(const std::array<Branch, kGates>& branches, const proto::DescribeLoadBank& bank, const proto::LoadPhase& phase,
        const model::Place& at)
      : branches_(branches), bank_(bank), phase_(phase), at_(at) {}

  model::TextErrors walk() {
    once();
    us_ = now_us_;
    energy_of_one_j_ = energy_j_;
    if (phase_.repeat() > 1 && errors_.empty()) once();
    return std::move(errors_);
  }

  std::uint64_t us() const { return us_; }
  double energy_j() const { return energy_of_one_j_; }
  double power_w_most() const { return power_w_most_; }
  double amps_most(std::size_t group) const { return amps_most_[group]; }

 private:
  void once() {
    for (int i = 0; i < phase_.steps_size() && errors_.empty(); ++i) {
      pass(phase_.steps(i).after_us());
      apply(i);
      // Steps of one instant are taken together.
      const bool last_of_instant = i + 1 == phase_.steps_size() || phase_.steps(i + 1).after_us() != 0;
      if (last_of_instant && errors_.empty()) look(i);
    }
    for (std::size_t gate = 0; gate < kGates && errors_.empty(); ++gate) {
      if (!on_[gate]) continue;
      errors_.push_back(
          at_.error(fmt::format("phase '{}' leaves gate {} on: its last steps switch it off", phase_.name(), gate)));
    }
  }

  void pass(std::uint32_t us) {
    std::uint64_t mw = 0;
    for (std::size_t gate = 0; gate < kGates; ++gate) mw += on_[gate] ? branches_[gate].mw : 0;
    energy_j_ += static_cast<double>(mw) * us * 1e-9;
    now_us_ += us;
  }

  void apply(int index) {
    const proto::ProgrammeStep& step = phase_.steps(index);
    const model::Place at = at_.nested("steps", index);
    if (step.gate() >= kGates || !branches_[step.gate()].there) {
      return complain(at.error("gate", fmt::format("the jig's load bank has no gate {}", step.gate())));
    }
    const Branch& branch = branches_[step.gate()];
    if (step.has_amps() && !(std::abs(step.amps() - branch.ma * 1e-3) <= kAmpsApart)) {
      return complain(at.error("amps", fmt::format("gate {} draws {} A by the jig's description, not {:.2f} A",
                                                   step.gate(), two_decimals(branch.ma), step.amps())));
    }
    if (on_[step.gate()] == step.on()) {
      return complain(at.error("on", fmt::format("gate {} is {} already", step.gate(), step.on() ? "on" : "off")));
    }
    edge(step.gate(), at);
    on_[step.gate()] = step.on();
  }

  void edge(std::uint32_t gate, const model::Place& at) {
    const std::uint64_t since_us = now_us_ - edge_us_[gate];
    if (edged_[gate] && since_us < kGateEdgeLeastUs) {
      return complain(at.error("after_us", fmt::format("edges of gate {} are {} us apart; the least is {} us", gate,
                                                       since_us, kGateEdgeLeastUs)));
    }
    if (on_[gate] && since_us > branches_[gate].on_time_us) {
      return complain(at.error("after_us", fmt::format("gate {} would be on for {:.1f} s; its branch stands {:.1f} s",
                                                       gate, static_cast<double>(since_us) * 1e-6,
                                                       static_cast<double>(branches_[gate].on_time_us) * 1e-6)));
    }
    edge_us_[gate] = now_us_;
    edged_[gate] = true;
    if (!times_us_.empty() && times_us_.back() == now_us_) return;
    times_us_.push_back(now_us_);
    if (times_us_.size() > kEdgeTimesPerMs + 1) times_us_.pop_front();
    if (times_us_.size() > kEdgeTimesPerMs && now_us_ - times_us_.front() < 1000) {
      complain(at.error("after_us", fmt::format("more than {} times of edges within a millisecond", kEdgeTimesPerMs)));
    }
  }

  void look(int index) {
    const model::Place at = at_.nested("steps", index);
    std::uint64_t mw = 0;
    std::array<std::uint64_t, kGates> ma{};
    for (std::size_t gate = 0; gate < kGates; ++gate) {
      if (!on_[gate]) continue;
      mw += branches_[gate].mw;
      ma[branches_[gate].group] += branches_[gate].ma;
    }
    for (std::size_t gate = 0; gate < kGates; ++gate) {
      const std::uint32_t group = branches_[gate].group;
      if (!on_[gate]) continue;
      const std::uint64_t allowed = bank_.group_current_ma_max(static_cast<int>(group));
      amps_most_[group] = std::max(amps_most_[group], static_cast<double>(ma[group]) * 1e-3);
      if (ma[group] <= allowed) continue;
      return complain(at.error(fmt::format("{} A on {} here; bank and label allow {} A", two_decimals(ma[group]),
                                           model::rail_label(branches_[gate].rail), two_decimals(allowed))));
    }
    const double watts = static_cast<double>(mw) * 1e-3;
    power_w_most_ = std::max(power_w_most_, watts);
    if (mw <= bank_.power_mw_max()) return;
    complain(at.error(fmt::format("{:.0f} W here; bank and label allow {:.0f} W", watts, bank_.power_mw_max() * 1e-3)));
  }

  void complain(model::TextError error) { errors_.push_back(std::move(error)); }

  const std::array<Branch, kGates>& branches_;
  const proto::DescribeLoadBank& bank_;
  const proto::LoadPhase& phase_;
  const model::Place& at_;
  model::TextErrors errors_;
  std::uint64_t now_us_ = 0;
  double energy_j_ = 0;
  std::uint64_t us_ = 0;  // of one round, as the next
  double energy_of_one_j_ = 0;
  double power_w_most_ = 0;
  std::array<double, kGates> amps_most_{};
  std::array<bool, kGates> on_{};
  std::array<bool, kGates> edged_{};
  std::array<std::uint64_t, kGates> edge_us_{};
  std::deque<std::uint64_t> times_us_;
};

class Check {
 public:
  Check(CheckedProgramme& out, const model::Jig& jig, const proto::Unit& unit, const model::Place& place)
      : out_(out), jig_(jig), unit_(unit), place_(place) {}

  model::TextErrors run() {
    whole();
    if (!errors_.empty()) return std::move(errors_);
    branches();
    for (int i = 0; i < out_.programme.phases_size(); ++i) phase(i);
    sums();
    return std::move(errors_);
  }

 private:
  void whole() {
    const proto::LoadProgramme& programme = out_.programme;
    const std::string& id = jig_.description().id();
    if (programme.id().empty()) errors_.push_back(place_.error("id", "the programme has no id"));
    if (!programme.jig().empty() && programme.jig() != id) {
      errors_.push_back(place_.error("jig", fmt::format("written for jig {}, not for {}", programme.jig(), id)));
    }
    if (programme.phases().empty()) errors_.push_back(place_.error("the programme has no phases"));
    pause(place_, "before_s", before_s(), kBeforeS);
    pause(place_, "after_s", after_s(), 0);
    const auto bank = load_bank_limits(jig_, unit_);
    if (bank) {
      out_.bank = *bank;
    } else {
      errors_.push_back(place_.error(bank.error()));
    }
  }

  void pause(const model::Place& at, const char* field, double seconds, double least) {
    if (seconds >= least && seconds <= kPauseSMost) return;
    errors_.push_back(
        at.error(field, fmt::format("{} is {:g}, not from {:g} to {:g}", field, seconds, least, kPauseSMost)));
  }

  double before_s() const { return out_.programme.has_before_s() ? out_.programme.before_s() : kBeforeS; }
  double after_s() const { return out_.programme.has_after_s() ? out_.programme.after_s() : kAfterS; }

  void branches() {
    for (int i = 0; i < out_.bank.branches_size(); ++i) {
      const proto::LoadBranch& told = out_.bank.branches(i);
      branches_[told.gate()] = {.there = true,
                                .rail = jig_.description().load_bank().branches(i).rail(),
                                .group = told.group(),
                                .ma = told.current_ma(),
                                .mw = told.power_mw(),
                                .on_time_us = std::uint64_t{told.on_time_ms_max()} * 1000};
    }
  }

  void phase(int index) {
    proto::LoadPhase& phase = *out_.programme.mutable_phases(index);
    const model::Place at = place_.nested("phases", index);
    const double rest_s = phase.has_rest_s() ? phase.rest_s() : kRestS;
    pause(at, "rest_s", rest_s, kRestS);
    if (phase.repeat() > kRoundsMost) {
      errors_.push_back(at.error("repeat", fmt::format("more than {} rounds", kRoundsMost)));
    }
    if (phase.steps().empty() || phase.steps_size() > kStepsMost) {
      errors_.push_back(at.error(
          fmt::format("phase '{}' has {} steps, not from 1 to {}", phase.name(), phase.steps_size(), kStepsMost)));
      return;
    }
    const std::size_t before = errors_.size();
    Round round(branches_, out_.bank, phase, at);
    for (model::TextError& error : round.walk()) errors_.push_back(std::move(error));
    if (errors_.size() != before) return;
    figures(phase, round, rest_s, at);
  }

  void figures(const proto::LoadPhase& phase, const Round& round, double rest_s, const model::Place& at) {
    const double rounds = std::max(phase.repeat(), 1U);
    const double round_s = static_cast<double>(round.us()) * 1e-6;
    if (rounds > 1 && round.us() * out_.bank.repetition_hz_max() < 1'000'000) {
      errors_.push_back(at.error("repeat", fmt::format("a round of {:g} us is faster than {} rounds a second",
                                                       round_s * 1e6, out_.bank.repetition_hz_max())));
      return;
    }
    proto::PlannedPhase& planned = *out_.plan.add_phases();
    planned.set_name(phase.name());
    planned.set_rounds(static_cast<std::uint32_t>(rounds));
    planned.set_duration_s(rounds * round_s);
    planned.set_rest_s(rest_s);
    planned.set_energy_j(rounds * round.energy_j());
    planned.set_power_w_most(round.power_w_most());
    planned.set_power_w_mean(round_s > 0 ? round.energy_j() / round_s : 0);
    if (rounds > 1) planned.set_rounds_per_s(1 / round_s);
    for (const Branch& branch : branches_) {
      if (!branch.there || !(round.amps_most(branch.group) > 0)) continue;
      if (std::ranges::any_of(planned.rails(), [&](const auto& rail) { return rail.rail() == branch.rail; })) continue;
      proto::PlannedRail& rail = *planned.add_rails();
      rail.set_rail(branch.rail);
      rail.set_label(std::string(model::rail_label(branch.rail)));
      rail.set_amps_most(round.amps_most(branch.group));
    }
    heat(planned, at);
  }

  // The bank gives off heat all the time; a phase is taken as if its energy came evenly.
  void heat(const proto::PlannedPhase& planned, const model::Place& at) {
    const double allowed = out_.bank.energy_j_max();
    const double cooling_w = out_.bank.cooling_mw() == 0 ? allowed / kCoolingS : out_.bank.cooling_mw() * 1e-3;
    held_j_ = std::max(held_j_ + planned.energy_j() - cooling_w * planned.duration_s(), 0.0);
    out_.plan.set_heat_j_most(std::max({out_.plan.heat_j_most(), held_j_, std::min(planned.energy_j(), allowed)}));
    if (planned.energy_j() > allowed) {
      errors_.push_back(at.error(fmt::format("phase '{}' takes {:.0f} J; the load bank takes {:.0f} J in one go",
                                             planned.name(), planned.energy_j(), allowed)));
    } else if (held_j_ > allowed) {
      errors_.push_back(
          at.error(fmt::format("after phase '{}' the load bank would hold {:.0f} J; it stands {:.0f} J: "
                               "give the phases before it more rest_s",
                               planned.name(), held_j_, allowed)));
    }
    held_j_ = std::max(held_j_ - cooling_w * planned.rest_s(), 0.0);
  }

  void sums() {
    proto::LoadPlan& plan = out_.plan;
    plan.set_programme(out_.programme.id());
    plan.set_why(out_.programme.why());
    plan.set_jig(jig_.description().id());
    plan.set_unit(unit_.id());
    plan.set_before_s(before_s());
    plan.set_after_s(after_s());
    plan.set_power_w_allowed(out_.bank.power_mw_max() * 1e-3);
    plan.set_energy_j_allowed(out_.bank.energy_j_max());
    double duration_s = before_s() + after_s();
    for (const proto::PlannedPhase& planned : plan.phases()) {
      duration_s += planned.duration_s() + planned.rest_s();
      plan.set_energy_j(plan.energy_j() + planned.energy_j());
      plan.set_power_w_most(std::max(plan.power_w_most(), planned.power_w_most()));
    }
    plan.set_duration_s(duration_s);
    rails();
  }

  void rails() {
    for (const Branch& branch : branches_) {
      const auto known = [&](const auto& rail) { return rail.rail() == branch.rail; };
      if (!branch.there || std::ranges::any_of(out_.plan.rails(), known)) continue;
      proto::PlannedRail& rail = *out_.plan.add_rails();
      rail.set_rail(branch.rail);
      rail.set_label(std::string(model::rail_label(branch.rail)));
      rail.set_amps_allowed(out_.bank.group_current_ma_max(static_cast<int>(branch.group)) * 1e-3);
      for (const proto::PlannedPhase& planned : out_.plan.phases()) {
        for (const proto::PlannedRail& one : planned.rails()) {
          if (one.rail() == branch.rail) rail.set_amps_most(std::max(rail.amps_most(), one.amps_most()));
        }
      }
    }
  }

  CheckedProgramme& out_;
  const model::Jig& jig_;
  const proto::Unit& unit_;
  const model::Place& place_;
  model::TextErrors errors_;
  std::array<Branch, kGates> branches_{};
  double held_j_ = 0;
};

}  // namespace

std::expected<CheckedProgramme, model::TextErrors> check_programme(std::string_view text, std::string_view file,
                                                                   const model::Jig& jig, const proto::Unit& unit) {
  CheckedProgramme out;
  google::protobuf::TextFormat::ParseInfoTree tree;
  if (auto parsed = model::parse_text(text, file, out.programme, &tree); !parsed)
    return std::unexpected(parsed.error());
  const model::Place place(file, *proto::LoadProgramme::descriptor(), &tree);
  model::TextErrors errors = Check(out, jig, unit, place).run();
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return out;
}

proto::LoadSteps load_steps(const proto::LoadPhase& phase) {
  proto::LoadSteps out;
  for (const proto::ProgrammeStep& step : phase.steps()) {
    proto::LoadStepCommand& command = *out.add_steps();
    command.set_gate(step.gate());
    command.set_on(step.on());
    command.set_after_us(step.after_us());
  }
  out.set_repeat(phase.repeat());
  return out;
}

}  // namespace host::label
