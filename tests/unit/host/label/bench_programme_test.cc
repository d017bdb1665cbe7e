// SPDX-License-Identifier: Apache-2.0
// Load programmes from a label, played through by hand: what is on when, against what bank, label and edition allow.
#include "host/label/bench_programme.h"

#include <gmock/gmock.h>
#include <google/protobuf/text_format.h>

#include <array>
#include <map>
#include <set>

#include "host/data/shipped.h"
#include "host/model/limit_sets.h"
#include "tests/unit/host/label/system_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using testing::Contains;
using testing::HasSubstr;

model::Jig reference() {
  auto jig = model::Jig::from_text(*data::shipped("jigs/reference.textproto"), "reference");
  if (!jig) throw std::runtime_error(model::to_string(jig.error()));
  return *jig;
}

proto::Unit shipped_unit(std::string_view name) {
  return unit_of(*data::shipped(name));
}

proto::LimitSet edition(const std::string& name) {
  auto limits = model::load_limits(name);
  if (!limits) throw std::runtime_error(model::to_string(limits.error()));
  return limits->set;
}

BenchProgramme written(const model::Jig& jig, const proto::Unit& unit, const proto::LimitSet* limits,
                       const proto::System* system = nullptr) {
  auto bench = bench_programme(jig, unit, limits, system);
  if (!bench) throw std::runtime_error(bench.error());
  return std::move(*bench);
}

/// A rail's load after every instant at which something switches, by phase.
struct Played {
  std::string name{};
  std::uint32_t rounds = 0;
  double round_s = 0;
  std::vector<std::map<int, double>> amps;  // by rail
  double joules = 0;
};

std::vector<Played> play(const proto::LoadProgramme& programme, const model::Jig& jig) {
  std::vector<Played> out;
  for (const proto::LoadPhase& phase : programme.phases()) {
    Played one;
    one.name = phase.name();
    one.rounds = phase.repeat();
    std::set<std::uint32_t> on;
    for (std::uint32_t round = 0; round < phase.repeat(); ++round) {
      for (int i = 0; i < phase.steps_size(); ++i) {
        const proto::ProgrammeStep& step = phase.steps(i);
        const double wait_s = step.after_us() / 1e6;
        std::map<int, double> amps;
        for (const proto::LoadBankBranch& branch : jig.description().load_bank().branches()) {
          if (on.contains(branch.gate())) {
            amps[branch.rail()] += branch.amps();
            one.joules += wait_s * branch.amps() * rail_volts(branch.rail());
          }
        }
        if (step.after_us() > 0) one.amps.push_back(amps);
        if (round == 0) one.round_s += wait_s;
        if (step.on()) {
          on.insert(step.gate());
        } else {
          on.erase(step.gate());
        }
      }
    }
    out.push_back(std::move(one));
  }
  return out;
}

double most(const Played& phase, proto::Rail rail) {
  double most = 0;
  for (const auto& amps : phase.amps) {
    if (const auto found = amps.find(rail); found != amps.end()) most = std::max(most, found->second);
  }
  return most;
}

// U-1: 56 A of +12 V, +5 and +3.3 V 105 W together, 690 W; the bank: 650 W, 60 kJ.
TEST(BenchProgrammeTest, NeverExceedsBankOrLabel) {
  const model::Jig jig = reference();
  const proto::LimitSet limits = edition("atx-3.0");
  const proto::System pc = system_of(*data::shipped("systems/p-07.textproto"));
  const BenchProgramme bench = written(jig, shipped_unit("units/u-1.textproto"), &limits, &pc);
  double joules = 0;
  for (const Played& phase : play(bench.programme, jig)) {
    EXPECT_LE(most(phase, proto::RAIL_P12V), 56) << phase.name;
    for (const auto& amps : phase.amps) {
      double watts = 0;
      for (const auto& [rail, value] : amps) watts += value * rail_volts(static_cast<proto::Rail>(rail));
      EXPECT_LE(watts, 650) << phase.name;
    }
    joules += phase.joules;
  }
  EXPECT_GT(joules, 0);
  EXPECT_LE(joules, 60000);
  for (const proto::LoadPhase& phase : bench.programme.phases()) {
    EXPECT_GE(phase.steps_size(), 1);
    EXPECT_LE(phase.steps_size(), 32);
    std::set<std::uint32_t> on;
    for (const proto::ProgrammeStep& step : phase.steps()) {
      if (step.on()) {
        on.insert(step.gate());
      } else {
        EXPECT_EQ(on.erase(step.gate()), 1U) << phase.name() << ": off what is off";
      }
    }
    EXPECT_TRUE(on.empty()) << phase.name();
  }
}

// Branches of 4.93 and five of 9.71 A. The least is 4.93, the greatest all of them, 53.48 A; evenly between: 17.1, 29.2
// and 41.3 A wanted, of which 14.64, 29.13 and 43.77 or the like can be had. 30 edges each way, 20 ms apart.
TEST(BenchProgrammeTest, FiveLevelsOf12VSpanThreeToOne) {
  const model::Jig jig = reference();
  const BenchProgramme bench = written(jig, shipped_unit("units/u-1.textproto"), nullptr);
  std::vector<double> levels;
  for (const Played& phase : play(bench.programme, jig)) {
    if (!phase.name.starts_with("+12V")) continue;
    levels.push_back(most(phase, proto::RAIL_P12V));
    EXPECT_EQ(phase.rounds, 30U);
    EXPECT_NEAR(phase.round_s, 0.04, 1e-9);
  }
  ASSERT_EQ(levels.size(), 5U);
  EXPECT_NEAR(levels.front(), 4.93, 1e-9);
  EXPECT_NEAR(levels.back(), 53.48, 1e-9);
  for (std::size_t i = 1; i < levels.size(); ++i) EXPECT_GE(levels[i] - levels[i - 1], 1) << i;
  EXPECT_THAT(bench.gaps, Contains(HasSubstr("+5V: levels of 9.9 A only, not five")));
  EXPECT_THAT(bench.gaps, Contains(HasSubstr("no edition with load steps")));
}

// atx-3.0 wants 40 % of 56 A, 22.4 A, at the main connector, where one branch of 9.71 A lies; the step ends at or below
// the full current. 30 % of 19 A is 5.7 A of +5 V: the branch of 9.88 A is too big. The processor's step is 85 %
// of 15.43 A (163 W / 0.88 / 12 V), 13.1 A: 9.71 of it. At 50 Hz and at 1 kHz.
TEST(BenchProgrammeTest, StepsOfTheEditionAreNeverBiggerThanPublished) {
  const model::Jig jig = reference();
  const proto::LimitSet limits = edition("atx-3.0");
  const proto::System pc = system_of(*data::shipped("systems/p-07.textproto"));
  const BenchProgramme bench = written(jig, shipped_unit("units/u-1.textproto"), &limits, &pc);
  const auto played = play(bench.programme, jig);
  const auto named = [&](std::string_view start, std::string_view end) -> const Played& {
    const auto found = std::ranges::find_if(
        played, [&](const Played& one) { return one.name.starts_with(start) && one.name.ends_with(end); });
    if (found == played.end()) throw std::runtime_error("no phase " + std::string(start));
    return *found;
  };
  const Played& main = named("+12V1DC, step of 9.7 A", "50 Hz");
  // 50 Hz: 10 ms between edges; the base comes and goes once a round, so that a round holds many edges of the step.
  const auto phase = std::ranges::find(bench.programme.phases(), main.name, &proto::LoadPhase::name);
  std::uint32_t edges = 0;
  for (const proto::ProgrammeStep& one : phase->steps()) {
    EXPECT_TRUE(one.after_us() == 0 || one.after_us() == 10'000) << one.after_us();
    edges += one.gate() == 0 && one.on() ? 1 : 0;
  }
  EXPECT_GT(edges, 1U);
  EXPECT_GE(edges * main.rounds, 30U);
  // On top of what is left of the other branches below 56 - 9.71 A: four of 9.71 and 4.93 A.
  EXPECT_NEAR(most(main, proto::RAIL_P12V), 9.71 + 4 * 9.71 + 4.93, 1e-9);
  EXPECT_NEAR(named("+12V2DC", "1000 Hz").round_s, 1e-3, 1e-9);
  const Played& processor = named("+12V2DC, step of 9.7 A", "50 Hz");
  EXPECT_LE(9.71, 0.85 * 163 / 0.88 / 12);
  EXPECT_NEAR(most(processor, proto::RAIL_P12V), 9.71, 1e-9);
  EXPECT_THAT(bench.gaps, Contains(HasSubstr("step of +12V1DC: 22.40 A; the branches there give 9.71 A")));
  EXPECT_THAT(bench.gaps, Contains(HasSubstr("step of +5VDC: 5.70 A, and no branch there is so small")));
  const BenchProgramme blind = written(jig, shipped_unit("units/u-1.textproto"), &limits);
  EXPECT_THAT(blind.gaps, Contains(HasSubstr("step of +12V2DC: the current it is a share of is not known")));
}

// A small label leaves fewer levels, and the file says so.
TEST(BenchProgrammeTest, ASmallLabelHoldsItBack) {
  const model::Jig jig = reference();
  const proto::Unit small = unit_of(
      "id: \"X-9\" total_w: 150 rails { rail: RAIL_P12V amps: 10 } rails { rail: RAIL_P5V "
      "amps: 10 } rails { rail: RAIL_P3V3 amps: 10 }");
  const BenchProgramme bench = written(jig, small, nullptr);
  for (const Played& phase : play(bench.programme, jig)) EXPECT_LE(most(phase, proto::RAIL_P12V), 10) << phase.name;
  EXPECT_THAT(bench.gaps, Contains(HasSubstr("+12V: levels of 4.9 A, 9.7 A only, not five that span 3:1")));
  const auto none = bench_programme(jig, shipped_unit("units/u-2.textproto"), nullptr, nullptr);
  EXPECT_TRUE(none.has_value());
  proto::Unit tiny = small;
  for (auto& rail : *tiny.mutable_rails()) rail.set_amps(1);
  const auto refused = bench_programme(jig, tiny, nullptr, nullptr);
  ASSERT_FALSE(refused.has_value());
  EXPECT_THAT(refused.error(), HasSubstr("no branch within the label's currents"));
}

TEST(ProgrammeTextTest, ReadsBackAndNamesItsGaps) {
  const BenchProgramme bench = written(reference(), shipped_unit("units/u-1.textproto"), nullptr);
  const std::string text = programme_text(bench);
  proto::LoadProgramme read;
  ASSERT_TRUE(google::protobuf::TextFormat::ParseFromString(text, &read));
  EXPECT_EQ(read.SerializeAsString(), bench.programme.SerializeAsString());
  EXPECT_THAT(text, HasSubstr("# Not exercised: +5V"));
  EXPECT_THAT(text, HasSubstr("Bench only, no PC attached"));
}

}  // namespace
}  // namespace host::label
