// SPDX-License-Identifier: Apache-2.0
// What no PC can mean is named with its line and column.
#include "host/label/system_text.h"

#include <gmock/gmock.h>

#include "host/data/shipped.h"
#include "tests/unit/host/label/system_fixture.h"

namespace host::label {
namespace {

using testing::HasSubstr;

std::string complaints(const std::string& text) {
  const auto system = system_from_text(text, "pc.textproto", rules(), plugs());
  if (system) return "";
  return model::to_string(system.error());
}

TEST(SystemTextTest, ShippedSystemsAreReadable) {
  const auto names = data::shipped_names("systems/");
  ASSERT_FALSE(names.empty());
  for (const std::string_view name : names) {
    const auto system = system_from_text(*data::shipped(name), name, rules(), plugs());
    EXPECT_TRUE(system.has_value()) << (system ? "" : model::to_string(system.error()));
  }
}

TEST(SystemTextTest, EveryBadValueIsNamedWithItsPlace) {
  struct Bad {
    std::string_view piece;
    std::string_view other;
    std::string_view said;
  };
  constexpr Bad kBad[] = {
      {"watts: 132", "", "pc.textproto:3:3: a draw of +12V wants watts or amps"},
      {"watts: 132", "watts: 132 amps: 11", "pc.textproto:3:3: a draw of +12V wants watts or amps, not both"},
      {"watts: 132", "watts: nan", "pc.textproto:3:27: +12V watts is not a figure"},
      {"watts: 132", "watts: -5", "pc.textproto:3:27: +12V watts of -5 W is not credible: 0.01 to 5000 W"},
      {"watts: 132", "watts: 132000", "+12V watts of 132000 W is not credible"},
      {"watts: 132", "watts: 13,2", "a decimal comma? write a point"},
      {"efficiency: 0.88", "efficiency: 88", "pc.textproto:3:38: efficiency of 88 (a share) is not credible"},
      {"rail: RAIL_P5V", "rail: RAIL_UNKNOWN", "pc.textproto:8:53: rail is missing or unknown"},
      {"amps: 4", "amps: 0", "pc.textproto:8:68: +5V amps of 0 A is not credible"},
      {"name: \"graphics\" ", "", "pc.textproto:4:1: a part has no name"},
      {"name: \"graphics\"", "name: \"processor\"", "pc.textproto:4:9: part \"processor\" is given twice"},
      {"kind: PART_KIND_BOARD", "", "pc.textproto:8:1: the kind of part \"board\" is missing"},
      {"kind: PART_KIND_BOARD", "kind: PART_KIND_BOARD count: 0", "pc.textproto:8:45: count of 0 is not credible"},
      {"kind: PART_KIND_BOARD", "kind: PART_KIND_CHAIR", "pc.textproto:8:"},
      {"duration_s: 1e-3 ", "", "pc.textproto:6:5: the duration of an excursion is missing"},
      {"duration_s: 1e-3", "duration_s: inf", "pc.textproto:6:18: duration is not a figure"},
      {"percent: 200", "", "pc.textproto:6:5: an excursion wants watts, amps or percent, one of them"},
      {"percent: 200", "percent: 60", "percent of an excursion of 60 % is not credible"},
      {"percent: 200", "amps: 60", "pc.textproto:6:35: an excursion stands in the unit of its draw, or in percent"},
      {"percent: 200", "watts: 280", "pc.textproto:6:5: an excursion of 93 % lies below its draw"},
      {"percent: 200 }", "percent: 200 } excursions { duration_s: 1e-3 percent: 150 }",
       "pc.textproto:6:63: an excursion of 0.001 s is given twice"},
      {"percent: 200 }", "percent: 200 } excursions { duration_s: 1e-2 percent: 250 }",
       "the excursion of 0.001 s (200 %) is lower than the longer one of 0.01 s (250 %)"},
      {"share: 0.1", "share: 1.1", "pc.textproto:7:27: share of 1.1 (a share) is not credible"},
      {"share: 0.1", "share: 1", "the shares of +12V add up to 1, so that nothing is left"},
      {"inlets { plug: \"cpu\" }", "inlets { plug: \"cpu\" share: 0.4 }", "the shares of +12V add up to 0.4, not to 1"},
      {"inlets { plug: \"cpu\" }", "", "pc.textproto:3:3: by which plug +12V comes is missing"},
      {"inlets { plug: \"cpu\" }", "inlets { plug: \"gpu\" }", "pc.textproto:3:64: no cable ends in plug \"gpu\""},
      {"inlets { plug: \"card-b\" }", "inlets { plug: \"card-a\" }", "plug \"card-a\" is named twice"},
      {"amps: 4 inlets { plug: \"main\" }", "amps: 4 inlets { plug: \"card-a\" }",
       "plug \"card-a\", a 2x4 graphics plug, carries no +5V"},
      {"socket: \"processor-1\"", "socket: \"cpu\"", "pc.textproto:10:10: socket \"cpu\" is unknown; names: main"},
      {"socket: \"graphics-2\"", "socket: \"graphics-1\"", "pc.textproto:12:10: socket \"graphics-1\" is given twice"},
      {"name: \"card-b\"", "name: \"card-a\"", "plug \"card-a\" is given twice"},
      {"plugs { name: \"cpu\" kind: PLUG_KIND_PROCESSOR_2X4 }", "", "pc.textproto:10:1: a cable ends in no plug"},
      {"kind: PLUG_KIND_PROCESSOR_2X4", "", "pc.textproto:10:32: the kind of plug \"cpu\" is missing"},
      {"kind: PLUG_KIND_PROCESSOR_2X4", "kind: PLUG_KIND_GRAPHICS_2X4",
       "socket \"processor-1\" is not for a 2x4 graphics plug: same pitch, opposite polarity"},
      {"id: \"P-1\"", "id: \"P\\0331\"", "pc.textproto:1:1: id holds a control character"},
      {"name: \"cpu\"", "nmae: \"cpu\"", "pc.textproto:10:"},
  };
  for (const Bad& bad : kBad) EXPECT_THAT(complaints(pc_but(bad.piece, bad.other)), HasSubstr(bad.said)) << bad.other;
}

TEST(SystemTextTest, AnEmptyFileSaysWhatIsMissing) {
  EXPECT_THAT(complaints(""), HasSubstr("pc.textproto: no part is described"));
  EXPECT_THAT(complaints(""), HasSubstr("pc.textproto: no cable is described"));
}

}  // namespace
}  // namespace host::label
