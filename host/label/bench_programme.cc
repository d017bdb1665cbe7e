// SPDX-License-Identifier: Apache-2.0
#include "host/label/bench_programme.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <span>

#include <fmt/format.h>
#include <google/protobuf/text_format.h>

#include "host/label/demand.h"
#include "host/label/load_bank.h"
#include "host/label/power.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

// What a fit of a resistance wants of its levels and edges; common practice, no source.
constexpr std::size_t kLevels = 5;
constexpr double kSpanLeast = 3;
constexpr double kApartA = 1;  // two levels nearer than this count as one
constexpr std::uint32_t kEdges = 30;
constexpr std::uint32_t kHoldUs = 20'000;  // 10 ms to recover and 10 ms to average
constexpr std::size_t kStepsMost = 32;     // of a phase; a set and its opposite of all 8 gates always fit
constexpr double kNearShare = 0.9;         // a step from here on counts as its size
constexpr double kFastHz = 1000;           // to about 2 kHz a repetition is judged
constexpr std::uint32_t kFastEdges = 200;

/// Some branches that are on together.
struct Set {
  std::vector<const proto::LoadBankBranch*> branches;
  double amps = 0;
};

class Writer {
 public:
  Writer(const model::Jig& jig, const proto::Unit& unit, const proto::DescribeLoadBank& allowed,
         const proto::System* system)
      : jig_(jig), unit_(unit), allowed_(allowed), bank_(jig.description().load_bank()), system_(system) {}

  std::expected<BenchProgramme, std::string> write(const proto::LimitSet* limits) {
    proto::LoadProgramme& programme = out_.programme;
    programme.set_id(fmt::format("{}-bench", unit_.id()));
    programme.set_jig(jig_.description().id());
    programme.set_why(fmt::format("levels for the output resistance of {}, and the load steps of {}", unit_.id(),
                                  limits == nullptr ? "no edition" : limits->edition()));
    for (const proto::Rail rail : kRailOrder) levels(rail);
    if (programme.phases().empty()) return std::unexpected("the load bank has no branch within the label's currents");
    if (limits == nullptr || limits->transient().empty()) {
      out_.gaps.emplace_back("the unit claims no edition with load steps: only levels are exercised");
    } else {
      for (const proto::TransientLimit& row : limits->transient()) {
        named_.insert(named_.end(), row.connectors().begin(), row.connectors().end());
      }
      for (const proto::TransientLimit& row : limits->transient()) step(row);
    }
    if (energy_j_ > allowed_.energy_j_max()) {
      return std::unexpected(
          fmt::format("the programme takes {:.0f} J, the load bank stands {} J", energy_j_, allowed_.energy_j_max()));
    }
    return std::move(out_);
  }

 private:
  double amps_max(const proto::LoadBankBranch& branch) const {
    for (const proto::LoadBranch& one : allowed_.branches()) {
      if (one.gate() == branch.gate()) return allowed_.group_current_ma_max(static_cast<int>(one.group())) / 1e3;
    }
    return 0;
  }

  bool fits(const Set& set) const {
    if (1e3 * watts(set) > allowed_.power_mw_max()) return false;
    return std::ranges::all_of(set.branches, [&](const proto::LoadBankBranch* branch) {
      double amps = 0;
      for (const proto::LoadBankBranch* other : set.branches) {
        amps += other->rail() == branch->rail() ? std::ceil(1e3 * other->amps() - 1e-6) / 1e3 : 0;
      }
      return amps <= amps_max(*branch) + 1e-9;
    });
  }

  /// Every set of `from` that bank and label allow, besides `already`; ascending, the empty one first.
  std::vector<Set> sets(std::span<const proto::LoadBankBranch* const> from, const Set& already = {}) const {
    std::vector<Set> out;
    for (std::uint32_t mask = 0; mask < (1U << from.size()); ++mask) {
      Set set;
      Set all = already;
      for (std::size_t i = 0; i < from.size(); ++i) {
        if ((mask >> i & 1U) == 0) continue;
        set.branches.push_back(from[i]);
        all.branches.push_back(from[i]);
        set.amps += from[i]->amps();
      }
      if (fits(all)) out.push_back(std::move(set));
    }
    std::ranges::stable_sort(out, {}, &Set::amps);
    return out;
  }

  std::vector<const proto::LoadBankBranch*> branches_of(proto::Rail rail) const {
    std::vector<const proto::LoadBankBranch*> out;
    for (const proto::LoadBankBranch& branch : bank_.branches()) {
      if (branch.rail() == rail) out.push_back(&branch);
    }
    return out;
  }

  /// Of the branch's current channel; empty where it has none.
  std::string connector_of(const proto::LoadBankBranch& branch) const {
    const model::JigChannel* channel = jig_.find(branch.current_channel());
    return channel == nullptr ? "" : channel->connector;
  }

  /// `edges` of `step` each way, on top of `base`: a round switches the base on, then the step as often as a phase
  /// holds, and the base off again, for a phase ends with every gate off.
  void phase(std::string name, const Set& base, const Set& step, std::uint32_t hold_us, std::uint32_t edges) {
    proto::LoadPhase& added = *out_.programme.add_phases();
    added.set_name(std::move(name));
    const auto turn = [&](const Set& set, bool on) {
      for (const proto::LoadBankBranch* branch : set.branches) {
        proto::ProgrammeStep& one = *added.add_steps();
        one.set_gate(branch->gate());
        one.set_on(on);
        one.set_after_us(branch == set.branches.front() ? hold_us : 0);
        one.set_amps(branch->amps());
      }
    };
    const auto room = static_cast<std::uint32_t>((kStepsMost - 2 * base.branches.size()) / (2 * step.branches.size()));
    const std::uint32_t in_round = base.branches.empty() ? 1 : std::min(edges, room);
    turn(base, true);
    for (std::uint32_t i = 0; i < in_round; ++i) {
      turn(step, true);
      turn(step, false);
    }
    turn(base, false);
    const std::uint32_t rounds = (edges + in_round - 1) / in_round;
    added.set_repeat(rounds);
    energy_j_ += rounds * hold_us / 1e6 * (watts(base) * (2 * in_round + 1) + watts(step) * in_round);
  }

  static double watts(const Set& set) {
    double sum = 0;
    for (const proto::LoadBankBranch* branch : set.branches) sum += branch->amps() * rail_volts(branch->rail());
    return sum;
  }

  void levels(proto::Rail rail) {
    const auto branches = branches_of(rail);
    if (branches.empty()) return;
    const std::string label(model::rail_label(rail));
    std::vector<Set> apart;  // levels far enough from each other
    for (Set& set : sets(branches)) {
      if (set.amps > 0 && (apart.empty() || set.amps - apart.back().amps >= kApartA)) apart.push_back(std::move(set));
    }
    if (apart.empty()) {
      out_.gaps.push_back(fmt::format("{}: no branch of the load bank is within the label", label));
      return;
    }
    const std::vector<Set> chosen = spread(apart);
    if (chosen.size() < kLevels || chosen.back().amps < kSpanLeast * chosen.front().amps) {
      std::string had;
      for (const Set& set : chosen) had += fmt::format("{}{:.1f} A", had.empty() ? "" : ", ", set.amps);
      out_.gaps.push_back(
          fmt::format("{}: levels of {} only, not five that span 3:1: its resistance may stay untold", label, had));
    }
    for (const Set& set : chosen) phase(fmt::format("{}, {:.1f} A", label, set.amps), {}, set, kHoldUs, kEdges);
  }

  /// At most kLevels, the least and the greatest among them, as evenly as they lie.
  static std::vector<Set> spread(const std::vector<Set>& apart) {
    if (apart.size() <= kLevels) return apart;
    std::vector<Set> out;
    std::size_t from = 0;
    for (std::size_t level = 0; level < kLevels; ++level) {
      const double wanted =
          apart.front().amps + (apart.back().amps - apart.front().amps) * static_cast<double>(level) / (kLevels - 1);
      const std::size_t left = kLevels - 1 - level;  // that must still find a place above
      std::size_t best = from;
      for (std::size_t i = from; i + left < apart.size(); ++i) {
        if (std::abs(apart[i].amps - wanted) < std::abs(apart[best].amps - wanted)) best = i;
      }
      out.push_back(apart[best]);
      from = best + 1;
    }
    return out;
  }

  /// Branches an edition's row is about: on its connectors, or, where it names none, on those no other row names.
  std::vector<const proto::LoadBankBranch*> branches_of(const proto::TransientLimit& row) const {
    std::vector<const proto::LoadBankBranch*> out;
    for (const proto::LoadBankBranch* branch : branches_of(row.rail())) {
      const std::string connector = connector_of(*branch);
      const bool mine = row.connectors().empty()
                            ? std::ranges::find(named_, connector) == named_.end()
                            : std::ranges::find(row.connectors(), connector) != row.connectors().end();
      if (mine) out.push_back(branch);
    }
    return out;
  }

  /// What the row's percents are of, A. Nothing: not known here.
  std::optional<double> basis(const proto::TransientLimit& row) const {
    if (row.basis() == proto::STEP_BASIS_RATED_CURRENT) {
      const proto::RailRating* rating = find_rail(unit_, row.rail());
      if (rating == nullptr) return std::nullopt;
      const std::string connector = row.connectors().empty() ? "main" : row.connectors(0);
      for (const proto::SubRail& sub : rating->sub_rails()) {
        if (std::ranges::find(sub.connectors(), connector) != sub.connectors().end()) return sub.amps();
      }
      return rail_amps(*rating);
    }
    if (system_ == nullptr) return std::nullopt;
    double amps = 0;
    for (const PlugLoad& plug : loads(*system_, kSteady)) {
      const bool mine = std::ranges::find(row.connectors(), plug.socket) != row.connectors().end();
      amps += mine ? plug.amps[row.rail()] : 0;
    }
    return amps > 0 ? std::optional(amps) : std::nullopt;
  }

  static const Set* greatest_up_to(const std::vector<Set>& sets, double amps) {
    const Set* found = nullptr;
    for (const Set& set : sets) {
      if (set.amps > 0 && set.amps <= amps + 1e-9) found = &set;
    }
    return found;
  }

  void step(const proto::TransientLimit& row) {
    if (branches_of(row.rail()).empty()) return;
    const bool absolute = row.basis() == proto::STEP_BASIS_AMPERES;
    const std::optional<double> of = absolute ? std::optional(100.0) : basis(row);
    const auto left_out = [&](const std::string& why) {
      out_.gaps.push_back(fmt::format("step of {}: {}", row.output(), why));
    };
    if (!of) return left_out("the current it is a share of is not known without a PC's description");
    const double size = absolute ? row.step_a() : *of * row.step_percent() / 100;
    const auto mine = branches_of(row);
    const std::vector<Set> steps = sets(mine);
    const Set* step = greatest_up_to(steps, size);
    if (step == nullptr) return left_out(fmt::format("{:.2f} A, and no branch there is so small", size));
    // From the printed load, or so that the step ends at the full current. One output for the whole rail: every other
    // branch of it may stand meanwhile.
    const bool whole =
        row.basis() == proto::STEP_BASIS_RATED_CURRENT && find_rail(unit_, row.rail())->sub_rails().empty();
    const double from = row.has_from_percent() ? *of * row.from_percent() / 100 : absolute ? 0 : *of - step->amps;
    std::vector<const proto::LoadBankBranch*> rest;
    for (const proto::LoadBankBranch* branch : whole ? branches_of(row.rail()) : mine) {
      if (std::ranges::find(step->branches, branch) == step->branches.end()) rest.push_back(branch);
    }
    const std::vector<Set> bases = sets(rest, *step);
    const Set* base = greatest_up_to(bases, from);
    if (step->amps < kNearShare * size) {
      left_out(fmt::format("{:.2f} A; the branches there give {:.2f} A", size, step->amps));
    }
    const Set none;
    const auto repeat = [&](double hz, std::uint32_t edges) {
      if (hz > allowed_.repetition_hz_max()) return;
      const Set& standing = base == nullptr ? none : *base;
      phase(fmt::format("{}, step of {:.1f} A from {:.1f} A, {:.0f} Hz", row.output(), step->amps, standing.amps, hz),
            standing, *step, static_cast<std::uint32_t>(std::lround(0.5e6 / hz)), edges);
    };
    repeat(row.repetition_least_hz() > 0 ? row.repetition_least_hz() : 0.5e6 / kHoldUs, kEdges);
    if (row.repetition_most_hz() >= kFastHz) repeat(kFastHz, kFastEdges);
  }

  const model::Jig& jig_;
  const proto::Unit& unit_;
  const proto::DescribeLoadBank& allowed_;
  const proto::LoadBank& bank_;
  const proto::System* system_;
  std::vector<std::string> named_;  // connectors some row of the edition is about
  double energy_j_ = 0;
  BenchProgramme out_;
};

}  // namespace

std::expected<BenchProgramme, std::string> bench_programme(const model::Jig& jig, const proto::Unit& unit,
                                                           const proto::LimitSet* limits, const proto::System* system) {
  const auto allowed = load_bank_limits(jig, unit);
  if (!allowed) return std::unexpected(allowed.error());
  return Writer(jig, unit, *allowed, system).write(limits);
}

std::string programme_text(const BenchProgramme& bench) {
  std::string text =
      "# A load programme written from a label: a claim, not a measurement. Bench only, no PC attached; the bank gets\n"
      "# hot: ventilated, attended, clear of anything that burns.\n"
      "# proto-file: proto/programme.proto\n# proto-message: steadyrail.proto.LoadProgramme\n";
  for (const std::string& gap : bench.gaps) text += fmt::format("# Not exercised: {}\n", gap);
  std::string body;
  google::protobuf::TextFormat::PrintToString(bench.programme, &body);
  return text + body;
}

}  // namespace host::label
