// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/setup.h"

#include <algorithm>

#include <gtest/gtest.h>

#include "host/data/shipped.h"
#include "host/selftest/plan.h"

namespace host::selftest {
namespace {

model::Jig jig(const std::string& name) {
  return model::Jig::from_text(*data::shipped("jigs/" + name + ".textproto"), name).value();
}

std::string text(const std::string& name) {
  return std::string(*data::shipped("selftests/" + name + ".textproto"));
}

std::string changed(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, from.size(), to);
}

std::string complaint(const std::string& content, const std::string& jig_name = "reference") {
  const auto setup = setup_from_text(content, "s", jig(jig_name));
  return setup ? "" : model::to_string(setup.error());
}

TEST(SetupTest, ThoseThatShipBelongToTheirJigs) {
  EXPECT_EQ(complaint(text("reference")), "");
  EXPECT_EQ(complaint(text("small"), "small"), "");
  EXPECT_NE(complaint(text("small")).find("for jig J-02, not for J-01"), std::string::npos);
}

TEST(SetupTest, NamesTheLineOfEveryContradiction) {
  const std::string whole = text("reference");
  EXPECT_NE(complaint(changed(whole, "[0, 0.25, 2.5, 5, 18]", "[0, 5, 2.5]")).find("rising from 0"), std::string::npos);
  EXPECT_NE(complaint(changed(whole, "weak_ohm: 20000", "weak_ohm: 1500")).find("more than twice"), std::string::npos);
  EXPECT_NE(complaint(changed(whole, "tie_ohm: 100", "tie_ohm: nan")).find("tie_ohm must be above 0"),
            std::string::npos);
  EXPECT_NE(complaint(changed(whole, "upper_ohm: 11700", "upper_ohm: -1")).find("upper_ohm must be above 0"),
            std::string::npos);
  EXPECT_NE(complaint(changed(whole, "channel: \"main-5v\"", "channel: \"main-12v\"")).find("main-12v is there twice"),
            std::string::npos);
  EXPECT_NE(complaint(changed(whole, "output: 25", "output: 24")).find("output 24 is taken"), std::string::npos);
  EXPECT_NE(complaint(changed(whole, "output: 31", "output: 5")).find("not from 24 to 31"), std::string::npos);
  EXPECT_NE(
      complaint(changed(whole, "channel: \"graphics-3\" }", "channel: \"graphics-9\" }")).find("no channel graphics-9"),
      std::string::npos);
  EXPECT_NE(complaint("jig: \"J-01\" level_v: [0, x]").find("s:1:"), std::string::npos) << "with its place";
}

/// Nothing in the plan lifts a channel beyond nine tenths of its converter's range, and every input and link is
/// reached.
TEST(PlanTest, ReachesEveryTapWithinItsChannelsRange) {
  for (const std::string name : {"reference", "small"}) {
    const model::Jig described = jig(name);
    const auto setup = setup_from_text(text(name), name, described);
    ASSERT_TRUE(setup.has_value());
    const std::vector<Stimulus> stimuli = plan(*setup, described);
    EXPECT_EQ(stimuli.front().purpose, Purpose::kOff);
    std::uint32_t reached = 0;
    for (const Stimulus& one : stimuli) {
      reached |= one.purpose == Purpose::kHigh || one.purpose == Purpose::kLink ? one.outputs : 0;
      if (one.input < 0 || one.purpose == Purpose::kLink) continue;
      const auto& input = setup->inputs(one.input);
      if (input.attenuation() > 0) continue;
      const double level = setup->level_v(static_cast<int>(one.level));
      const double source = one.weak ? setup->weak_ohm() : setup->strong_ohm();
      const double divider = input.upper_ohm() + input.lower_ohm();
      const double ohm = input.bleed_ohm() > 0 ? 1 / (1 / divider + 1 / input.bleed_ohm()) : divider;
      const double volts = level * ohm / (ohm + source) * input.lower_ohm() / divider +
                           input.lower_end_v() * input.upper_ohm() / divider;
      EXPECT_LT(volts, 0.94 * 4.096) << input.channel() << " at " << level;
    }
    std::uint32_t all = 0;
    for (const auto& input : setup->inputs()) all |= 1U << described.find(input.channel())->index;
    for (const auto& link : setup->links()) all |= 1U << link.output();
    EXPECT_EQ(reached, all);
  }
}

/// A dead tap lies within its bounds, 0.6 V at one of them do not; what the source moves itself may lie anywhere.
TEST(PlanTest, BoundsWhatADeadTapReads) {
  const model::Jig described = jig("reference");
  const auto setup = setup_from_text(text("reference"), "s", described).value();
  std::array<bool, wire::kChannelCount> moved{};
  moved[8] = true;
  Stimulus stimulus{.purpose = Purpose::kHigh, .outputs = 1, .level = 4, .weak = false, .input = 0, .link = -1};
  const auto command = command_of(stimulus, setup, described, moved);
  ASSERT_EQ(command.least_code_size(), 24);
  ASSERT_EQ(command.most_code_size(), 24);
  const auto within = [&](const char* name, double volts) {
    const model::JigChannel& channel = *described.find(name);
    const double code = std::clamp(channel.code(volts), -32768.0, 32767.0);  // as the converter does
    return code >= command.least_code(static_cast<int>(channel.index)) &&
           code <= command.most_code(static_cast<int>(channel.index));
  };
  for (const char* name : {"main-12v", "main-5v", "main-3v3", "standby-5v", "pwr-ok", "graphics-1"}) {
    EXPECT_TRUE(within(name, 0.0)) << name;
    EXPECT_FALSE(within(name, 0.6)) << name;
  }
  EXPECT_FALSE(within("main-m12v", -12)) << "a live -12 V";
  EXPECT_TRUE(within("processor-1", 12)) << "the source is on it now";
}

}  // namespace
}  // namespace host::selftest
