// SPDX-License-Identifier: Apache-2.0
// What a load bank allows: every limit refuses what is just beyond it and takes what is just within. Figures by hand.
#include "firmware/core/load_bank.h"

#include <gtest/gtest.h>

#include <vector>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

namespace proto = steadyrail::proto;
using Steps = std::vector<LoadStep>;
using testing::JigFixture;

/// Two branches of 6 A and 72 W on one rail, a third of 4 A and 20 W on another. 1 s in one go, 100 J, 1 kHz.
LoadBank bank() {
  LoadBank bank;
  bank.branches[0] = {.described = true, .current_ma = 6000, .power_mw = 72000, .on_time_ms_max = 1000};
  bank.branches[1] = bank.branches[0];
  bank.branches[2] = {.described = true, .group = 1, .current_ma = 4000, .power_mw = 20000, .on_time_ms_max = 500};
  bank.current_ma_max = {11'999, 4000};
  bank.power_mw_max = 92'000;
  bank.energy_j_max = 100;
  bank.repetition_hz_max = 1000;
  return bank;
}

proto::Refusal refusal(const Steps& steps, std::uint32_t rounds = 1, std::uint32_t gates = 0,
                       const LoadBank& of = bank()) {
  return static_cast<proto::Refusal>(check_programme(of, steps, rounds, gates).refusal);
}

TEST(LoadBankTest, RefusesEverythingBeforeItIsDescribed) {
  EXPECT_EQ(refusal({{0, true, 0}}, 1, 0, LoadBank{}), proto::REFUSAL_NO_LOAD_BANK);
  EXPECT_EQ(refusal({{5, true, 0}}), proto::REFUSAL_NO_LOAD_BANK) << "a gate that was not described";
}

TEST(LoadBankTest, HoldsTheCurrentOfARailAndThePowerOfAll) {
  EXPECT_EQ(refusal({{0, true, 0}, {2, true, 0}}), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal({{0, true, 0}, {1, true, 100}}), proto::REFUSAL_CURRENT_LIMIT) << "12 A where 11.999 may flow";
  LoadBank more = bank();
  more.current_ma_max[0] = 12'000;
  EXPECT_EQ(refusal({{0, true, 0}, {1, true, 100}}, 1, 0, more), proto::REFUSAL_POWER_LIMIT) << "144 W of 92";
  more.power_mw_max = 144'000;
  EXPECT_EQ(refusal({{0, true, 0}, {1, true, 100}}, 1, 0, more), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal({{1, true, 100}}, 1, 0b1, bank()), proto::REFUSAL_CURRENT_LIMIT) << "what is on already counts";
}

TEST(LoadBankTest, TakesStepsOfOneInstantTogether) {
  EXPECT_EQ(refusal({{1, true, 100}, {0, false, 0}}, 1, 0b1), proto::REFUSAL_NONE) << "one for the other";
  EXPECT_EQ(refusal({{1, true, 100}, {0, false, 40}}, 1, 0b1), proto::REFUSAL_CURRENT_LIMIT) << "both for 40 us";
}

TEST(LoadBankTest, HoldsTheEnergyOfAllRounds) {
  // 72 W for 10 ms of every 20 are 0.72 J a round: 138 rounds are 99.36 J, 139 are 100.08.
  const Steps steps{{0, true, 10'000}, {0, false, 10'000}};
  EXPECT_EQ(refusal(steps, 138), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal(steps, 139), proto::REFUSAL_ENERGY_LIMIT);
  EXPECT_EQ(refusal(steps, 0xFFFFFFFF), proto::REFUSAL_ENERGY_LIMIT);
  LoadBank little = bank();
  little.energy_j_max = 1;
  EXPECT_EQ(refusal({{0, true, 0}, {0, false, 13'889}}, 1, 0, little), proto::REFUSAL_ENERGY_LIMIT) << "1.000008 J";
  EXPECT_EQ(refusal({{0, true, 0}, {0, false, 13'888}}, 1, 0, little), proto::REFUSAL_NONE) << "0.999936 J";
}

TEST(LoadBankTest, HoldsTheEnergyOfProgrammesThatFollowOneAnother) {
  // 72 W for 1 s twice would be 144 J of the 100: refused right after, and taken once 44 J have been given off.
  JigFixture jig(Mode::kBench);
  jig.configure();
  jig.describe_load_bank([](proto::DescribeLoadBank& bank) {
    for (proto::LoadBranch& branch : *bank.mutable_branches()) branch.set_power_mw(72'000);
    bank.set_energy_j_max(100);
    bank.set_cooling_mw(2'000);
  });
  const auto programme = [&] {
    proto::HostToJig command;
    proto::LoadStepCommand& on = *command.mutable_load_steps()->add_steps();
    on.set_on(true);
    proto::LoadStepCommand& off = *command.mutable_load_steps()->add_steps();
    off.set_after_us(1'000'000);
    jig.send(command);
    return testing::last_answer(jig.heard());
  };
  const auto wait = [&](std::uint32_t ms) {
    for (std::uint32_t k = 0; k < ms; ++k) {
      if (k % 500 == 0) jig.keep_alive();
      jig.play([](std::uint64_t, std::size_t) { return std::int16_t{1000}; }, 1);
    }
  };
  EXPECT_EQ(programme().refusal(), proto::REFUSAL_NONE);
  wait(1100);
  EXPECT_NEAR(jig.health().load_energy_j, 70, 1) << "72 J less what was given off";
  const proto::Acknowledgement refused = programme();
  EXPECT_EQ(refused.refusal(), proto::REFUSAL_ENERGY_LIMIT);
  EXPECT_EQ(refused.field(), 0U) << "not of this programme alone";
  jig.describe_load_bank([](proto::DescribeLoadBank& bank) {
    for (proto::LoadBranch& branch : *bank.mutable_branches()) branch.set_power_mw(72'000);
    bank.set_energy_j_max(100);
    bank.set_cooling_mw(2'000);
  });
  EXPECT_EQ(programme().refusal(), proto::REFUSAL_ENERGY_LIMIT) << "a bank described anew is as hot as before";
  wait(20'500);  // 41 J, to 29 and something: 101 J with the next
  EXPECT_EQ(programme().refusal(), proto::REFUSAL_ENERGY_LIMIT);
  wait(1'000);
  EXPECT_EQ(programme().refusal(), proto::REFUSAL_NONE);
}

TEST(LoadBankTest, SwitchesOffWhatIsLeftOnWhenTheBankHoldsNoMore) {
  JigFixture jig(Mode::kBench);
  jig.configure();
  jig.describe_load_bank([](proto::DescribeLoadBank& bank) {
    for (proto::LoadBranch& branch : *bank.mutable_branches()) branch.set_power_mw(72'000);
    bank.set_energy_j_max(36);
    bank.set_cooling_mw(1);
  });
  proto::HostToJig command;
  proto::LoadStepCommand& on = *command.mutable_load_steps()->add_steps();
  on.set_on(true);
  jig.send(command);
  std::uint32_t on_ms = 0;
  for (; on_ms < 2000 && jig.health().safety_cause == SafetyCause::kNone; ++on_ms) {
    if (on_ms % 500 == 0) jig.keep_alive();
    jig.play([](std::uint64_t, std::size_t) { return std::int16_t{1000}; }, 1);
  }
  EXPECT_EQ(jig.health().safety_cause, SafetyCause::kEnergyLimit);
  EXPECT_EQ(jig.outputs.gates, 0U);
  EXPECT_NEAR(on_ms, 500, 3) << "36 J at 72 W, from 1 to 2 ms after the command on";
}

TEST(LoadBankTest, HoldsTheTimeOnInOneGo) {
  EXPECT_EQ(refusal({{0, true, 0}, {0, false, 1'000'000}}), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal({{0, true, 0}, {0, false, 1'000'001}}), proto::REFUSAL_ON_TIME_LIMIT);
  EXPECT_EQ(refusal({{2, true, 0}, {2, false, 500'001}}), proto::REFUSAL_ON_TIME_LIMIT) << "each branch its own";
  LoadBank ample = bank();
  ample.energy_j_max = 1000;
  // Off in the first half of a round, on over its end: 0.6 s + 0.3 s are within 1 s, 0.8 s + 0.3 s are not.
  EXPECT_EQ(refusal({{0, false, 300'000}, {0, true, 100'000}, {1, false, 600'000}}, 2, 0, ample), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal({{0, false, 300'000}, {0, true, 100'000}, {1, false, 800'000}}, 2, 0, ample),
            proto::REFUSAL_ON_TIME_LIMIT);
  // On in the first round and never off: 0.4 s a round.
  EXPECT_EQ(refusal({{2, true, 0}, {0, false, 400'000}}, 2), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal({{2, true, 0}, {0, false, 400'000}}, 3), proto::REFUSAL_ON_TIME_LIMIT);
}

TEST(LoadBankTest, HoldsTheRepetition) {
  EXPECT_EQ(refusal({{0, true, 500}, {0, false, 500}}, 100), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal({{0, true, 499}, {0, false, 500}}, 100), proto::REFUSAL_REPETITION_LIMIT);
  EXPECT_EQ(refusal({{0, true, 0}, {0, false, 40}}), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal({{0, true, 0}, {0, false, 39}}), proto::REFUSAL_REPETITION_LIMIT) << "nearer than a gate can do";
  LoadBank fast = bank();
  fast.repetition_hz_max = 10'000;
  EXPECT_EQ(refusal({{0, true, 50}, {0, false, 50}}, 1000, 0, fast), proto::REFUSAL_NONE) << "10 kHz";
  EXPECT_EQ(refusal({{0, true, 65}, {0, false, 35}}, 1000, 0, fast), proto::REFUSAL_REPETITION_LIMIT);
}

TEST(LoadBankTest, HoldsTheTimesOfEdgesInAMillisecond) {
  Steps steps;
  for (std::uint32_t k = 0; k < 26; ++k)
    steps.push_back({static_cast<std::uint8_t>(k % 2 == 0 ? 0 : 2), k / 2 % 2 == 0, 41});
  EXPECT_EQ(refusal({steps.begin(), steps.begin() + 24}), proto::REFUSAL_NONE);
  EXPECT_EQ(refusal({steps.begin(), steps.begin() + 25}), proto::REFUSAL_REPETITION_LIMIT) << "25 in 984 us";
  for (LoadStep& step : steps) step.after_us = 42;
  EXPECT_EQ(refusal(steps), proto::REFUSAL_NONE) << "the 25th is 1,008 us after the first";
}

TEST(LoadBankTest, IsRefusedWhenItContradictsItself) {
  const auto field = [](const std::function<void(proto::DescribeLoadBank&)>& change) {
    JigFixture jig(Mode::kBench);
    jig.describe_load_bank(change);
    const proto::Acknowledgement answer = testing::last_answer(jig.heard());
    EXPECT_EQ(answer.refusal(), proto::REFUSAL_OUT_OF_RANGE);
    return answer.field();
  };
  EXPECT_EQ(field([](auto& bank) { bank.clear_branches(); }), 1U);
  EXPECT_EQ(field([](auto& bank) { bank.mutable_branches(1)->set_gate(0); }), 1U) << "one gate twice";
  EXPECT_EQ(field([](auto& bank) { bank.mutable_branches(1)->set_gate(8); }), 1U);
  EXPECT_EQ(field([](auto& bank) { bank.mutable_branches(0)->set_group(2); }), 1U) << "a rail without a limit";
  EXPECT_EQ(field([](auto& bank) { bank.mutable_branches(0)->set_current_ma(0); }), 1U);
  EXPECT_EQ(field([](auto& bank) { bank.mutable_branches(0)->set_on_time_ms_max(600'001); }), 1U);
  EXPECT_EQ(field([](auto& bank) { bank.mutable_branches(0)->set_channel(24); }), 1U);
  EXPECT_EQ(field([](auto& bank) { bank.clear_power_mw_max(); }), 3U);
  EXPECT_EQ(field([](auto& bank) { bank.clear_energy_j_max(); }), 4U);
  EXPECT_EQ(field([](auto& bank) { bank.set_repetition_hz_max(10'001); }), 5U);
}

}  // namespace
}  // namespace firmware
