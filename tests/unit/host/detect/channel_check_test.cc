// SPDX-License-Identifier: Apache-2.0
// Faults of a jig's wiring drawn by hand. What each reads stands in hardware-notes/front-end.md, "Faults of one
// channel", which ngspice works out; the noise is that of the jig's description.
#include "host/detect/channel_check.h"

#include <map>
#include <random>

#include <gtest/gtest.h>

#include "host/data/shipped.h"
#include "tests/unit/host/detect/session_fixture.h"

namespace host::detect {
namespace {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

constexpr std::size_t kSecond = 32000;

/// Adds the test jig's noise, 2 codes rms, to all channels but those named.
void add_noise(Levels& levels, std::initializer_list<std::size_t> still = {}) {
  std::mt19937 random(11);
  std::normal_distribution<double> normal;
  for (std::size_t channel = 0; channel < kChannels; ++channel) {
    if (std::ranges::find(still, channel) != still.end()) continue;
    for (double& level : levels.of(channel)) level += 2 * (channel == kGraphicsA ? 5e-3 : 3e-4) * normal(random);
  }
}

struct Reviewed {
  SessionResult result;
  std::vector<ChannelFinding> findings;
};

Reviewed review(const Levels& levels) {
  Review review({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  review.header(test_header());
  levels.windows(review, 0, levels.scans());
  review.finish();
  const auto findings = review.channel_findings();
  return {review.result(), {findings.begin(), findings.end()}};
}

/// One finding, in plain words a remark, and nothing decided on its channel.
void expect_finding(const Reviewed& reviewed, ChannelFault fault, const std::string& channel,
                    const std::string& words) {
  ASSERT_EQ(reviewed.findings.size(), 1U);
  EXPECT_EQ(reviewed.findings[0].fault, fault);
  EXPECT_TRUE(reviewed.findings[0].words.starts_with(channel + " reads ")) << reviewed.findings[0].words;
  EXPECT_NE(reviewed.findings[0].words.find(words), std::string::npos) << reviewed.findings[0].words;
  EXPECT_LE(reviewed.findings[0].scan, 2 * kSecond);
  bool told = false;
  for (const auto& remark : reviewed.result.remarks())
    told = told || remark.find(reviewed.findings[0].words) != std::string::npos;
  EXPECT_TRUE(told);
  int verdicts = 0;
  for (const Verdict& verdict : reviewed.result.verdicts()) {
    if (verdict.channel() != channel || verdict.decision() == DECISION_NOT_TESTED) continue;
    ++verdicts;
    EXPECT_EQ(verdict.decision(), DECISION_UNDECIDED);
    EXPECT_EQ(verdict.reason(), reviewed.findings[0].words);
  }
  EXPECT_GE(verdicts, 2);
  for (const EventResult& event : reviewed.result.events()) {
    if (event.channel() == channel) {
      EXPECT_NE(event.decision(), DECISION_FAIL) << event.note();
    }
  }
  // The other channels are judged as ever.
  const std::string sound = channel == "graphics-1" ? "main-12v" : "graphics-1";
  EXPECT_EQ(verdict_of(reviewed.result, sound, QUANTITY_STATIC).decision(), DECISION_PASS);
}

TEST(ChannelCheckTest, SoundChannelsGiveNoFinding) {
  Levels levels(4 * kSecond);
  levels.set(kMain, 2 * kSecond, 3 * kSecond, 11.0);  // a weak rail is a matter for its verdict
  add_noise(levels);
  const Reviewed reviewed = review(levels);
  EXPECT_TRUE(reviewed.findings.empty());
  EXPECT_EQ(verdict_of(reviewed.result, "main-12v", QUANTITY_STATIC).decision(), DECISION_FAIL);
}

TEST(ChannelCheckTest, StuckIsFoundAtAnyTime) {
  for (const std::size_t from : {std::size_t{0}, 5 * kSecond}) {
    Levels levels(8 * kSecond);
    add_noise(levels);
    levels.set(kMain, from, levels.scans(), 12.05);
    const Reviewed reviewed = review(levels);
    ASSERT_EQ(reviewed.findings.size(), 1U);
    EXPECT_EQ(reviewed.findings[0].fault, ChannelFault::kStuck);
    EXPECT_GE(reviewed.findings[0].scan, from + kSecond);
    EXPECT_LE(reviewed.findings[0].scan, from + 2.1 * kSecond);
    EXPECT_EQ(verdict_of(reviewed.result, "main-12v", QUANTITY_STATIC).decision(), DECISION_UNDECIDED);
    EXPECT_NE(verdict_of(reviewed.result, "main-12v", QUANTITY_STATIC).reason().find("stuck"), std::string::npos);
  }
}

TEST(ChannelCheckTest, AStillWorldIsNotStuck) {
  Levels all(2 * kSecond);
  EXPECT_TRUE(review(all).findings.empty());
  Levels most(2 * kSecond);
  add_noise(most, {kMain, kFive, kStandby, kGraphics});  // three of six others move
  EXPECT_TRUE(review(most).findings.empty());
}

TEST(ChannelCheckTest, MovementOfOneCodeIsNotStuck) {
  Levels levels(2 * kSecond);
  add_noise(levels, {kMain});
  for (std::size_t scan = 7; scan < levels.scans(); scan += kSecond / 2) levels.of(kMain)[scan] += 3e-4;
  EXPECT_TRUE(review(levels).findings.empty());
}

TEST(ChannelCheckTest, OpenSenseReadsNothing) {
  Levels levels(2 * kSecond);
  levels.set(kFive, 0, levels.scans(), 0);
  add_noise(levels);
  expect_finding(review(levels), ChannelFault::kMissing, "main-5v", "sense lead is off");
}

// Below 0 V on a channel that shows it; one whose range begins at 0 V reads 0.00 V (ReversedPlugs below).
TEST(ChannelCheckTest, NegativeVoltageHasTheWrongSign) {
  Levels levels(2 * kSecond);
  levels.set(kFive, 0, levels.scans(), -5);
  add_noise(levels);
  expect_finding(review(levels), ChannelFault::kWrongSign, "main-5v", "reversed");
}

TEST(ChannelCheckTest, EndOfRangeIsClipped) {
  Levels levels(2 * kSecond);
  levels.set(kMain, 0, levels.scans(), 25);
  add_noise(levels);
  const Reviewed reviewed = review(levels);
  expect_finding(reviewed, ChannelFault::kClipped, "main-12v", "end of its range");
}

TEST(ChannelCheckTest, WrongRailIsNamed) {
  Levels levels(2 * kSecond);
  levels.set(kGraphics, 0, levels.scans(), 5.1);
  add_noise(levels);
  expect_finding(review(levels), ChannelFault::kWrongRail, "graphics-1", "the voltage of +5V and not of +12V");
}

TEST(ChannelCheckTest, SwappedChannelsAreNamedTogether) {
  Levels levels(2 * kSecond);
  levels.set(kGraphics, 0, levels.scans(), 5.1);
  levels.set(kFive, 0, levels.scans(), 12.1);
  add_noise(levels);
  const Reviewed reviewed = review(levels);
  ASSERT_EQ(reviewed.findings.size(), 2U);
  for (const ChannelFinding& finding : reviewed.findings) EXPECT_EQ(finding.fault, ChannelFault::kSwapped);
  EXPECT_NE(reviewed.findings[0].words.find("swapped with main-5v"), std::string::npos);
  EXPECT_NE(reviewed.findings[1].words.find("swapped with graphics-1"), std::string::npos);
  for (const char* channel : {"graphics-1", "main-5v"}) {
    EXPECT_EQ(verdict_of(reviewed.result, channel, QUANTITY_STATIC).decision(), DECISION_UNDECIDED);
    EXPECT_EQ(verdict_of(reviewed.result, channel, QUANTITY_DYNAMIC).decision(), DECISION_UNDECIDED);
  }
  EXPECT_EQ(verdict_of(reviewed.result, "main-12v", QUANTITY_STATIC).decision(), DECISION_PASS);
}

// What a channel once carried is on its plug: a rail that falls afterwards must not be excused.
TEST(ChannelCheckTest, ARailThatCollapsesStaysAFail) {
  for (const double level : {0.0, 5.0, -0.5}) {
    Levels levels(4 * kSecond);
    levels.set(kMain, 2 * kSecond, levels.scans(), level);
    add_noise(levels);
    const Reviewed reviewed = review(levels);
    EXPECT_TRUE(reviewed.findings.empty()) << level;
    EXPECT_EQ(verdict_of(reviewed.result, "main-12v", QUANTITY_DYNAMIC).decision(), DECISION_FAIL) << level;
  }
}

TEST(ChannelCheckTest, NothingIsFoundWhileTheSupplyIsOffOrShortlyOn) {
  Levels off(3 * kSecond);
  off.set(kPwrOk, 0, off.scans(), 0);
  off.set(kMain, 0, off.scans(), 0);
  off.set(kGraphics, 0, off.scans(), 5);
  off.set(kStandby, 0, off.scans(), 0);  // without an AC-present channel nobody knows whether it is due
  add_noise(off);
  EXPECT_TRUE(review(off).findings.empty());
  Levels now_and_then(6 * kSecond);
  now_and_then.set(kMain, 0, now_and_then.scans(), 0);
  for (std::size_t at = 0; at < now_and_then.scans(); at += kSecond / 2) now_and_then.set(kPwrOk, at, at + 64, 0);
  add_noise(now_and_then);
  EXPECT_TRUE(review(now_and_then).findings.empty());
}

TEST(ChannelCheckTest, AHoleBeginsTheSecondAnew) {
  Levels levels(3 * kSecond);
  levels.set(kFive, 0, levels.scans(), 0);
  add_noise(levels);
  Review holed({.limits = test_limits(), .unit = {}, .events_listed_max = 500});
  holed.header(test_header());
  levels.windows(holed, 0, 30 * 1024);
  holed.gap({.from_scan = 30 * 1024, .to_scan = 31 * 1024, .cause = LOSS_CAUSE_DAMAGED});
  levels.windows(holed, 31 * 1024, 60 * 1024);
  EXPECT_TRUE(holed.channel_findings().empty());
  levels.windows(holed, 60 * 1024, 64 * 1024);
  EXPECT_EQ(holed.channel_findings().size(), 1U);  // live, before the session ends
}

/// Two seconds of the reference jig with every channel at its nominal and moving, but for those named.
class ReferenceChannels {
 public:
  void set(const std::string& name, double value, bool moving = true) { values_[name] = {value, moving}; }
  std::map<std::string, ChannelFinding> findings(bool on = true, bool standby = true) const {
    ChannelCheck check(jig_);
    Block block;
    block.scans = 32;
    block.count = 32;
    block.on = on ? block.all() : 0;
    block.standby = standby ? block.all() : 0;
    for (const model::JigChannel& channel : jig_.channels()) {
      auto value = model::rail_nominal_v(channel.rail);
      if (channel.kind != CHANNEL_KIND_RAIL_VOLTAGE) value = channel.name == "pwr-ok" ? 5 : 0.2;
      bool moving = true;
      if (const auto named = values_.find(channel.name); named != values_.end())
        std::tie(value, moving) = named->second;
      const auto code = [&](double noise) {
        const double of = std::round(channel.code(value)) + (moving ? noise : 0);
        return static_cast<std::int16_t>(std::clamp(of, -32768.0, 32767.0));
      };
      block.low[channel.index] = code(-3);
      block.high[channel.index] = code(3);
      block.sum_8[channel.index] = std::int64_t{8} * 32 * code(0);
    }
    for (int i = 0; i < 64; ++i) {
      check.add(block);
      block.first = block.end();
      block.follows = true;
    }
    std::map<std::string, ChannelFinding> found;
    for (const ChannelFinding& finding : check.findings()) found[jig_.at(finding.channel)->name] = finding;
    return found;
  }

 private:
  model::Jig jig_ =
      model::Jig::from_text(data::shipped("jigs/reference.textproto").value(), "jigs/reference.textproto").value();
  std::map<std::string, std::pair<double, bool>> values_;
};

TEST(ChannelCheckTest, FaultsOfOneChannelAsTheCircuitReadsThem) {
  struct Case {
    const char* channel;
    double reads;  // column "reads" of the table
    ChannelFault fault;
  };
  for (const Case& one :
       std::initializer_list<Case>{{"graphics-1", 20.07, ChannelFault::kClipped},  // Rt1 shorted, or Rb1 open
                                   {"main-3v3", 6.56, ChannelFault::kClipped},     // +3.3 V input on 12 V
                                   {"main-m12v", -16.47, ChannelFault::kClipped},  // -12 V: Rt1 shorted
                                   {"main-m12v", 3.23, ChannelFault::kWrongSign},  // -12 V: reversed plug
                                   {"main-m12v", -0.86, ChannelFault::kMissing},   // -12 V with a unidirectional clamp
                                   {"main-12v", 0.00, ChannelFault::kMissing},     // lead off, reversed, shorted pair
                                   {"graphics-1", 4.438, ChannelFault::kWrongRail}}) {  // table "Groups": tie on +12 V
    SCOPED_TRACE(one.channel + std::to_string(one.reads));
    ReferenceChannels jig;
    jig.set(one.channel, one.reads + (one.reads > 5 ? 0.01 : 0));  // ends of a range are rounded there
    const auto found = jig.findings();
    ASSERT_EQ(found.size(), 1U);
    ASSERT_TRUE(found.contains(one.channel));
    EXPECT_EQ(found.at(one.channel).fault, one.fault) << found.at(one.channel).words;
  }
  // A return that is off reads 12.15 V: nothing in the reading tells.
  ReferenceChannels blind;
  blind.set("graphics-1", 12.15);
  EXPECT_TRUE(blind.findings().empty());
}

TEST(ChannelCheckTest, OtherKindsOfChannelStickAndClip) {
  ReferenceChannels jig;
  jig.set("current-graphics-1", 12, false);
  jig.set("ground-graphics", 0.6);   // lead of the return off: end of range
  jig.set("ps-on", -0.1, false);     // a low line stands at the bottom of its range
  jig.set("temperature", 1, false);  // nothing need be connected
  const auto found = jig.findings();
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found.at("current-graphics-1").fault, ChannelFault::kStuck);
  EXPECT_EQ(found.at("ground-graphics").fault, ChannelFault::kClipped);
}

// +12 V lies beyond the range of a +5 V channel: the swap shows as +5 V on one and an end of the range on the other.
TEST(ChannelCheckTest, SwapWithAChannelOfLesserRange) {
  ReferenceChannels jig;
  jig.set("graphics-2", 5.05);
  jig.set("main-5v", 12);
  const auto found = jig.findings();
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found.at("graphics-2").fault, ChannelFault::kSwapped);
  EXPECT_EQ(found.at("main-5v").fault, ChannelFault::kSwapped);
  EXPECT_NE(found.at("main-5v").words.find("swapped with graphics-2"), std::string::npos);
}

// A standby that never comes is a fault of the supply, and stays one; a stuck channel is none.
TEST(ChannelCheckTest, StandbyAloneWithTheSupplyOff) {
  ReferenceChannels dead;
  dead.set("standby-5v", 0);
  EXPECT_TRUE(dead.findings(false).empty());
  EXPECT_EQ(dead.findings(true).size(), 1U);
  ReferenceChannels stuck;
  stuck.set("standby-5v", 5, false);
  stuck.set("main-12v", 0);
  const auto found = stuck.findings(false);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found.at("standby-5v").fault, ChannelFault::kStuck);
  EXPECT_TRUE(stuck.findings(false, false).empty());
}

}  // namespace
}  // namespace host::detect
