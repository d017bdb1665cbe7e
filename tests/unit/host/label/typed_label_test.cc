// SPDX-License-Identifier: Apache-2.0
#include "host/label/typed_label.h"

#include <gmock/gmock.h>
#include <google/protobuf/util/message_differencer.h>

#include <filesystem>

#include "host/label/table.h"
#include "tests/unit/host/label/label_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using testing::HasSubstr;

const TypedLabel kExample = {.id = "U-2", .total = "570", .rails = {"12=23.5", "5=33", "3.3=31"}, .standby = "2.3"};

std::string complaint(const TypedLabel& typed) {
  const auto unit = unit_from_typed(typed, rules());
  return unit ? "accepted" : model::to_string(unit.error());
}

class SavedUnitTest : public testing::Test {
 protected:
  void SetUp() override {
    std::filesystem::remove_all(folder_);
    std::filesystem::create_directories(folder_);
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  std::filesystem::path folder_ =
      std::filesystem::path(testing::TempDir()) /
      ("label_" + std::string(testing::UnitTest::GetInstance()->current_test_info()->name()));
};

TEST(TypedLabelTest, BecomesTheUnitAFileWouldDescribe) {
  const auto unit = unit_from_typed(kExample, rules());
  ASSERT_TRUE(unit.has_value()) << model::to_string(unit.error());
  const proto::Unit expected = unit_of(R"(
    id: "U-2" total_w: 570 rails { rail: RAIL_P12V amps: 23.5 } rails { rail: RAIL_P5V amps: 33 }
    rails { rail: RAIL_P3V3 amps: 31 } rails { rail: RAIL_P5VSB amps: 2.3 })");
  EXPECT_TRUE(google::protobuf::util::MessageDifferencer::Equals(*unit, expected)) << unit->DebugString();
}

TEST(TypedLabelTest, TakesEverythingALabelPrints) {
  TypedLabel typed = kExample;
  typed.rails.push_back("-12=0.3");
  typed.combined = {"5+3.3=140"};
  typed.inputs = {"100-240=9", "230=5"};
  typed.basis = "peak";
  typed.mark = "absent";
  typed.mass_kg = "1.1";
  typed.wire_awg = "20";
  typed.date = "2024-W20";
  typed.edition = "atx12v-2.0";
  const auto unit = unit_from_typed(typed, rules());
  ASSERT_TRUE(unit.has_value()) << model::to_string(unit.error());
  EXPECT_EQ(unit->inputs(0).volts_max(), 240);
  EXPECT_FALSE(unit->inputs(1).has_volts_max());
  EXPECT_EQ(unit->combined(0).rails_size(), 2);
  EXPECT_EQ(unit->total_basis(), proto::TOTAL_BASIS_PEAK);
}

TEST(TypedLabelTest, NamesTheWordsThatAreWrong) {
  const auto with_rail = [](const char* words) {
    TypedLabel typed = kExample;
    typed.rails[0] = words;
    return complaint(typed);
  };
  EXPECT_EQ(with_rail("12=23,5"), "--rail 12=23,5: \"23,5\" is not a figure; write a point: 23.5");
  EXPECT_THAT(with_rail("12=nan"), HasSubstr("\"nan\" is not a figure"));
  EXPECT_THAT(with_rail("12=1e999"), HasSubstr("is not a figure"));
  EXPECT_THAT(with_rail("12=23.5A"), HasSubstr("\"23.5A\" is not a figure"));
  EXPECT_THAT(with_rail("12="), HasSubstr("\"\" is not a figure"));
  EXPECT_THAT(with_rail("12"), HasSubstr("write volts=amps"));
  EXPECT_THAT(with_rail("9=3"), HasSubstr("\"9\" is no rail"));
  EXPECT_THAT(with_rail("5=3"), HasSubstr("+5V is given twice"));
  EXPECT_THAT(with_rail("12=-3"), HasSubstr("+12V amps of -3 A is not credible"));
  EXPECT_THAT(with_rail("12=0"), HasSubstr("+12V amps of 0 A is not credible"));
  EXPECT_THAT(complaint({.total = "570"}), HasSubstr("+12V is missing"));
  EXPECT_THAT(complaint({.rails = {"12=23.5"}}), HasSubstr("total is missing"));
  EXPECT_THAT(complaint({.total = "570", .basis = "always", .rails = {"12=23.5"}}), HasSubstr("continuous or peak"));
  EXPECT_THAT(complaint({.total = "570", .rails = {"12=23.5"}, .wire_awg = "18.5"}), HasSubstr("a whole AWG number"));
  EXPECT_THAT(complaint({.total = "570", .rails = {"12=23.5"}, .combined = {"5+=3"}}), HasSubstr("\"\" is no rail"));
}

TEST_F(SavedUnitTest, ReadsBackEqual) {
  const auto unit = unit_from_typed(kExample, rules());
  ASSERT_TRUE(unit.has_value());
  const std::string path = folder_ / "U-2.textproto";
  ASSERT_TRUE(save_unit(*unit, path).has_value());
  const auto text = model::read_file(path);
  ASSERT_TRUE(text.has_value());
  EXPECT_TRUE(google::protobuf::util::MessageDifferencer::Equals(unit_of(*text), *unit));
}

TEST_F(SavedUnitTest, NeverOverwritesAFile) {
  const auto unit = unit_from_typed(kExample, rules());
  ASSERT_TRUE(unit.has_value());
  const std::string path = folder_ / "U-2.textproto";
  ASSERT_TRUE(save_unit(*unit, path).has_value());
  proto::Unit other = *unit;
  other.set_total_w(400);
  const auto second = save_unit(other, path);
  ASSERT_FALSE(second.has_value());
  EXPECT_THAT(second.error(), HasSubstr("File exists"));
  EXPECT_EQ(unit_of(model::read_file(path).value()).total_w(), 570);
}

TEST_F(SavedUnitTest, SaysWhyItCannotWrite) {
  const auto saved = save_unit(unit_of(kSound), folder_ / "no-folder" / "U-2.textproto");
  ASSERT_FALSE(saved.has_value());
  EXPECT_THAT(saved.error(), HasSubstr("No such file or directory"));
}

}  // namespace
}  // namespace host::label
