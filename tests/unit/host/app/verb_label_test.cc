// SPDX-License-Identifier: Apache-2.0
#include "host/app/verb_label.h"

#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "host/detect/output_resistance.h"
#include "host/model/text.h"
#include "programme.pb.h"

namespace host::app {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;

class VerbLabelTest : public testing::Test {
 protected:
  VerbLabelTest() { std::filesystem::create_directories(folder_); }
  ~VerbLabelTest() override { std::filesystem::remove_all(folder_); }

  std::string path(const std::string& name) const { return folder_ + "/" + name; }

  int run(const LabelOptions& options) {
    out_.str("");
    err_.str("");
    Terminal terminal(out_, err_, false);
    return label(options, terminal);
  }

  int run_units(const std::vector<std::string>& units) {
    LabelOptions options;
    options.units = units;
    return run(options);
  }

  static LabelOptions typed() {
    LabelOptions options;
    options.typed.total = "570";
    options.typed.rails = {"12=23.5", "5=33", "3.3=31"};
    options.typed.standby = "2.3";
    return options;
  }

  std::string folder_ = testing::TempDir() + "verb_label_test_" + std::to_string(getpid());
  std::ostringstream out_;
  std::ostringstream err_;
};

TEST_F(VerbLabelTest, StatusFollowsTheWorstVerdict) {
  EXPECT_EQ(run_units({"u-1"}), 0);
  EXPECT_EQ(run_units({"u-2"}), 4);
  EXPECT_EQ(run_units({"u-3"}), 1);
  EXPECT_EQ(run_units({"u-1", "u-2"}), 4);
  EXPECT_EQ(run_units({"u-2", "u-3", "u-1"}), 1);
  EXPECT_THAT(out_.str(), HasSubstr("a label is a claim, not a measurement"));
  EXPECT_THAT(out_.str(), HasSubstr("contradicts itself"));
}

TEST_F(VerbLabelTest, TypedLabelIsKeptAndReadBackAlike) {
  LabelOptions options = typed();
  options.save = path("U-2.textproto");
  EXPECT_EQ(run(options), 4);
  const std::string typed_words = out_.str();
  EXPECT_EQ(run_units({path("U-2.textproto")}), 4);
  EXPECT_EQ(out_.str(), typed_words);
  EXPECT_EQ(run(options), 2) << "an existing file is never written over";
  EXPECT_THAT(err_.str(), HasSubstr("File exists"));
  EXPECT_THAT(out_.str(), IsEmpty());
}

TEST_F(VerbLabelTest, EveryBadFileIsNamedAtOnce) {
  std::ofstream(path("comma.textproto")) << "total_w: 570\nrails { rail: RAIL_P12V amps: 23,5 }\n";
  std::ofstream(path("empty.textproto")) << "";
  EXPECT_EQ(run_units({path("comma.textproto"), "u-1", path("empty.textproto"), path("none.textproto"), "u-7"}), 2);
  EXPECT_THAT(err_.str(), HasSubstr("comma.textproto:2:34:"));
  EXPECT_THAT(err_.str(), HasSubstr("empty.textproto: total is missing"));
  EXPECT_THAT(err_.str(), HasSubstr("none.textproto: No such file"));
  EXPECT_THAT(err_.str(), HasSubstr("u-7: no such name"));
  EXPECT_THAT(out_.str(), IsEmpty());
}

TEST_F(VerbLabelTest, WrongUseIsRefused) {
  EXPECT_EQ(run(LabelOptions{}), 2);
  LabelOptions both = typed();
  both.units = {"u-1"};
  EXPECT_EQ(run(both), 2);
  LabelOptions saved;
  saved.units = {"u-1"};
  saved.save = path("copy.textproto");
  EXPECT_EQ(run(saved), 2);
  EXPECT_FALSE(std::filesystem::exists(path("copy.textproto")));
  for (const char* need : {"0", "-1", "nan", "12,5", "1e9", "much"}) {
    LabelOptions asked = typed();
    asked.need_12v = need;
    EXPECT_EQ(run(asked), 2) << need;
  }
}

TEST_F(VerbLabelTest, JsonHasOneAuditForEachUnit) {
  LabelOptions options;
  options.units = {"u-1", "u-3"};
  options.json = true;
  EXPECT_EQ(run(options), 1);
  EXPECT_TRUE(out_.str().starts_with("{\"audits\": ["));
  EXPECT_THAT(out_.str(), HasSubstr("\"verdict\": \"plausible\""));
  EXPECT_THAT(out_.str(), HasSubstr("\"verdict\": \"contradicts-itself\""));
  EXPECT_THAT(out_.str(), HasSubstr("\"status\": \"arithmetic; margin for rounding: common practice, no source\""));
}

TEST_F(VerbLabelTest, WithAPcItLeadsWithWhetherTheUnitIsEnough) {
  LabelOptions options;
  options.units = {"u-1"};
  options.system = "p-07";
  EXPECT_EQ(run(options), 0);
  EXPECT_THAT(out_.str(), testing::StartsWith("U-1 is enough for P-07, by its label. It would break first at "));
  EXPECT_THAT(out_.str(), HasSubstr("nothing here is measured"));
  EXPECT_THAT(out_.str(), HasSubstr("share a pitch with opposite polarity"));
  options.units = {"u-1", "u-2"};
  EXPECT_EQ(run(options), 1);
  EXPECT_THAT(out_.str(), HasSubstr("U-2 is not enough for P-07. It has no socket processor-2, graphics-2."));
  options.json = true;
  EXPECT_EQ(run(options), 1);
  for (const char* field : {"\"loadBudgets\": [", "\"sufficiency\": \"not-enough\"", "\"weakest\": {",
                            "\"unevenMarginPercent\": null", "\"lacking\": [", "\"arrangementsTried\": 0"}) {
    EXPECT_THAT(out_.str(), HasSubstr(field));
  }
  options.system = "p-08";
  EXPECT_EQ(run(options), 2);
  EXPECT_THAT(err_.str(), HasSubstr("p-07"));
  std::ofstream(path("pc.textproto")) << "id: \"P-1\"\nparts { name: \"fan\" }\n";
  options.system = path("pc.textproto");
  EXPECT_EQ(run(options), 2);
  EXPECT_THAT(err_.str(), HasSubstr("pc.textproto:2:1: the kind of part \"fan\" is missing"));
}

// The levels of the programme are what the detector of output resistances asks for.
TEST_F(VerbLabelTest, ProgrammeGivesTheResistanceItsLevels) {
  LabelOptions options;
  options.units = {"u-1"};
  options.system = "p-07";
  options.programme = path("bench.textproto");
  EXPECT_EQ(run(options), 0);
  EXPECT_THAT(err_.str(), HasSubstr("CAUTION"));
  EXPECT_THAT(err_.str(), HasSubstr("not exercised: +5V"));
  const auto text = model::read_file(options.programme);
  ASSERT_TRUE(text.has_value());
  steadyrail::proto::LoadProgramme programme;
  ASSERT_TRUE(model::parse_text(*text, options.programme, programme).has_value());
  std::vector<double> levels;
  for (const auto& phase : programme.phases()) {
    if (!phase.name().starts_with("+12V, ")) continue;
    double amps = 0;
    for (const auto& step : phase.steps()) amps += step.on() ? step.amps() : 0;
    levels.push_back(amps);
  }
  EXPECT_EQ(detect::too_little_spread(levels), "");
  EXPECT_GE(std::ranges::max(levels), 3 * std::ranges::min(levels));
  EXPECT_EQ(run(options), 2) << "an existing file is never written over";
  EXPECT_THAT(err_.str(), HasSubstr("File exists"));
  options.programme = path("other.textproto");
  options.jig = "small";
  EXPECT_EQ(run(options), 2);
  EXPECT_THAT(err_.str(), HasSubstr("no load bank"));
  options.jig = "reference";
  options.units = {"u-1", "u-2"};
  EXPECT_EQ(run(options), 2);
  EXPECT_THAT(err_.str(), HasSubstr("--programme is for one unit"));
}

}  // namespace
}  // namespace host::app
