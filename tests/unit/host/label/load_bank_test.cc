// SPDX-License-Identifier: Apache-2.0
// The lesser of bank and label, by hand.
#include "host/label/load_bank.h"

#include <gtest/gtest.h>

#include "host/data/shipped.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

proto::JigDescription described() {
  proto::JigDescription description =
      model::Jig::from_text(*data::shipped("jigs/reference.textproto"), "reference")->description();
  proto::LoadBank& bank = *description.mutable_load_bank();
  bank.Clear();
  const auto add = [&](std::uint32_t gate, proto::Rail rail, double amps, const char* channel) {
    proto::LoadBankBranch& branch = *bank.add_branches();
    branch.set_gate(gate);
    branch.set_rail(rail);
    branch.set_amps(amps);
    branch.set_on_time_s_max(30);
    branch.set_current_channel(channel);
  };
  add(0, proto::RAIL_P12V, 9.71, "current-main-12v");
  add(1, proto::RAIL_P12V, 4.93, "current-graphics-1");
  add(6, proto::RAIL_P5V, 9.88, "current-main-5v");
  add(7, proto::RAIL_P3V3, 9.82, "");
  bank.set_power_w_max(600);
  bank.set_energy_j_max(20'000);
  bank.set_repetition_hz_max(20'000);
  return description;
}

proto::Unit label() {
  proto::Unit unit;
  unit.set_id("U-9");
  unit.set_total_w(570);
  const auto add = [&](proto::Rail rail, double amps) {
    unit.add_rails()->set_rail(rail);
    unit.mutable_rails(unit.rails_size() - 1)->set_amps(amps);
  };
  add(proto::RAIL_P12V, 43);
  add(proto::RAIL_P5V, 17);
  add(proto::RAIL_P3V3, 19);
  return unit;
}

std::expected<proto::DescribeLoadBank, std::string> limits(const proto::JigDescription& description,
                                                           const proto::Unit& unit) {
  return load_bank_limits(model::Jig::from_description(description, "test").value(), unit);
}

TEST(LoadBankLimitsTest, TakesTheLesserOfBankAndLabel) {
  const auto command = limits(described(), label());
  ASSERT_TRUE(command.has_value()) << command.error();
  EXPECT_EQ(command->power_mw_max(), 570'000U) << "the label's";
  EXPECT_EQ(command->energy_j_max(), 20'000U);
  EXPECT_EQ(command->repetition_hz_max(), 10'000U) << "the gates'";
  ASSERT_EQ(command->group_current_ma_max_size(), 3);
  EXPECT_EQ(command->group_current_ma_max(static_cast<int>(command->branches(0).group())), 43'000U);
  EXPECT_EQ(command->group_current_ma_max(static_cast<int>(command->branches(2).group())), 17'000U);
  EXPECT_EQ(command->branches(0).group(), command->branches(1).group());
  EXPECT_EQ(command->branches(0).current_ma(), 9'710U);
  EXPECT_EQ(command->branches(0).power_mw(), 116'520U) << "12 V x 9.71 A";
  EXPECT_EQ(command->branches(0).on_time_ms_max(), 30'000U);
  proto::Unit bigger = label();
  bigger.set_total_w(940);
  EXPECT_EQ(limits(described(), bigger)->power_mw_max(), 600'000U) << "the bank's";
}

TEST(LoadBankLimitsTest, GivesTheCodesOfABranchOffAndOn) {
  const auto command = limits(described(), label());
  const model::Jig jig = model::Jig::from_description(described(), "test").value();
  const model::JigChannel& channel = *jig.find("current-main-12v");
  const proto::LoadBranch& branch = command->branches(0);
  EXPECT_EQ(branch.channel(), channel.index);
  EXPECT_NEAR(channel.value(branch.idle_code()), 0, channel.per_code);
  EXPECT_NEAR(channel.value(branch.idle_code() + static_cast<double>(branch.level_codes())), 9.71, channel.per_code);
  EXPECT_EQ(command->branches(3).level_codes(), 0U) << "no channel sees it";
}

/// 5 V x 17 A and 3.3 V x 19 A are 147.7 W; 100 W together leave 67.7 % of each: 11.509 A and 12.863 A.
TEST(LoadBankLimitsTest, SharesACombinedLimit) {
  proto::Unit unit = label();
  proto::CombinedLimit& combined = *unit.add_combined();
  combined.add_rails(proto::RAIL_P5V);
  combined.add_rails(proto::RAIL_P3V3);
  combined.set_watts(100);
  const auto command = limits(described(), unit);
  EXPECT_EQ(command->group_current_ma_max(static_cast<int>(command->branches(2).group())), 11'509U);
  EXPECT_EQ(command->group_current_ma_max(static_cast<int>(command->branches(3).group())), 12'863U);
}

TEST(LoadBankLimitsTest, SaysWhatIsMissing) {
  proto::JigDescription none = described();
  none.clear_load_bank();
  EXPECT_EQ(limits(none, label()).error(), "the description of J-01 has no load bank");
  proto::Unit silent = label();
  silent.mutable_rails(1)->clear_amps();
  EXPECT_EQ(limits(described(), silent).error(), "the label of U-9 prints no current for +5V");
  silent.mutable_rails(1)->add_sub_rails()->set_amps(8);
  silent.mutable_rails(1)->add_sub_rails()->set_amps(7);
  EXPECT_EQ(limits(described(), silent)->group_current_ma_max(1), 15'000U) << "its sub-rails together";
  proto::Unit tiny = label();
  tiny.set_total_w(0.0001);
  EXPECT_EQ(limits(described(), tiny).error(), "bank and label together leave no power, energy or repetition");
}

}  // namespace
}  // namespace host::label
