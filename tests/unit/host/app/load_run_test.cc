// SPDX-License-Identifier: Apache-2.0
// A programme as it is played: what is sent when, and what ends it.
#include "host/app/load_run.h"

#include <gtest/gtest.h>

#include "host/data/shipped.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

label::CheckedProgramme programme() {
  const auto jig = model::Jig::from_text(*data::shipped("jigs/reference.textproto"), "reference").value();
  proto::Unit unit;
  EXPECT_TRUE(model::parse_text(*data::shipped("units/u-1.textproto"), "u", unit).has_value());
  return label::check_programme(
             "id: \"p\" after_s: 2 "
             "phases { repeat: 10 steps { gate: 0 on: true after_us: 50000 } steps { gate: 0 after_us: 50000 } }"
             "phases { steps { gate: 6 on: true } steps { gate: 6 after_us: 1000000 } rest_s: 4 }",
             "p", jig, unit)
      .value();
}

proto::Status status(bool pwr_ok, proto::SafetyCause cause = proto::SAFETY_CAUSE_NONE) {
  proto::Status out;
  out.set_lines(pwr_ok ? 1U << (proto::LINE_PWR_OK - 1) : 0);
  out.set_safety_cause(cause);
  return out;
}

/// Plays to the end in steps of a quarter second; every command is answered by `refusal_of`.
struct Played {
  std::vector<std::pair<double, proto::HostToJig>> commands;
  std::string failure;
};
Played play(const std::function<proto::Status(double)>& status_at,
            const std::function<proto::Refusal(const proto::HostToJig&)>& refusal_of = {}) {
  LoadRun run(programme());
  Played out;
  for (double now = 0; now < 60; now += 0.25) {
    run.heard(status_at(now));
    const LoadRun::Next next = run.next(now);
    if (next.over) break;
    if (!next.command) continue;
    EXPECT_FALSE(run.next(now).command.has_value()) << "one at a time";
    out.commands.emplace_back(now, *next.command);
    proto::Acknowledgement answer;
    if (refusal_of) answer.set_refusal(refusal_of(*next.command));
    run.answered(*next.command, answer);
  }
  out.failure = run.failure();
  return out;
}

std::vector<proto::HostToJig::CommandCase> kinds(const Played& played) {
  std::vector<proto::HostToJig::CommandCase> out;
  for (const auto& [at, command] : played.commands) out.push_back(command.command_case());
  return out;
}

using enum proto::HostToJig::CommandCase;

TEST(LoadRunTest, DescribesSwitchesOnPlaysPhaseAfterPhaseAndSwitchesOff) {
  const Played played = play([](double) { return status(true); });
  EXPECT_EQ(played.failure, "");
  ASSERT_EQ(kinds(played),
            (std::vector{kDescribeLoadBank, kDrivePsOn, kLoadSteps, kLoadSteps, kLoadSteps, kDrivePsOn}));
  const double on = played.commands[1].first;
  EXPECT_TRUE(played.commands[1].second.drive_ps_on().on());
  EXPECT_GE(played.commands[2].first, on + 3) << "the supply comes up first";
  EXPECT_EQ(played.commands[2].second.load_steps().repeat(), 10U);
  EXPECT_GE(played.commands[3].first, played.commands[2].first + 1 + 0.5) << "ten rounds of 0.1 s, and the rest";
  EXPECT_EQ(played.commands[3].second.load_steps().steps(0).gate(), 6U);
  EXPECT_GE(played.commands[4].first, played.commands[3].first + 1 + 4 + 2) << "its rest, and after_s";
  EXPECT_EQ(played.commands[4].second.load_steps().steps_size(), 0) << "gates off";
  EXPECT_FALSE(played.commands[5].second.drive_ps_on().on());
}

TEST(LoadRunTest, DrawsNothingFromASupplyThatDoesNotComeUp) {
  const Played played = play([](double) { return status(false); });
  EXPECT_NE(played.failure.find("PWR_OK is low"), std::string::npos);
  ASSERT_EQ(kinds(played), (std::vector{kDescribeLoadBank, kDrivePsOn, kLoadSteps, kDrivePsOn}));
  EXPECT_EQ(played.commands[2].second.load_steps().steps_size(), 0);
  EXPECT_FALSE(played.commands[3].second.drive_ps_on().on());
}

TEST(LoadRunTest, EndsWhenTheSupplyGivesUp) {
  const Played played = play([](double now) { return status(now < 4.5); });
  EXPECT_NE(played.failure.find("PWR_OK fell"), std::string::npos);
  ASSERT_GE(played.commands.size(), 3U);
  EXPECT_FALSE(played.commands.back().second.drive_ps_on().on());
  EXPECT_LE(played.commands.back().first, 5.25);
}

TEST(LoadRunTest, SaysAloudWhenASwitchHasFailedShort) {
  const Played played = play(
      [](double now) { return status(true, now < 4 ? proto::SAFETY_CAUSE_NONE : proto::SAFETY_CAUSE_LOAD_STUCK_ON); });
  EXPECT_NE(played.failure.find("SWITCH THE SUPPLY OFF AT THE OUTLET NOW"), std::string::npos);
}

TEST(LoadRunTest, ARefusalEndsItWithItsReasonAndLeavesNothingOn) {
  for (const auto refused : {kDescribeLoadBank, kDrivePsOn, kLoadSteps}) {
    const Played played =
        play([](double) { return status(true); },
             [&](const proto::HostToJig& command) {
               return command.command_case() == refused ? proto::REFUSAL_WRONG_MODE : proto::REFUSAL_NONE;
             });
    EXPECT_NE(played.failure.find("keyed mode link"), std::string::npos);
    const auto& last = played.commands.back().second;
    EXPECT_TRUE(last.has_drive_ps_on() && !last.drive_ps_on().on());
    EXPECT_TRUE(played.commands[played.commands.size() - 2].second.has_load_steps());
  }
}

TEST(LoadRunTest, ARestartEndsItAndAllOffIsOffTwice) {
  LoadRun run(programme());
  run.restarted();
  EXPECT_NE(run.failure().find("restarted"), std::string::npos);
  const auto off = LoadRun::all_off();
  ASSERT_EQ(off.size(), 2U);
  EXPECT_EQ(off[0].load_steps().steps_size(), 0);
  EXPECT_TRUE(off[1].has_drive_ps_on() && !off[1].drive_ps_on().on());
}

}  // namespace
}  // namespace host::app
