// SPDX-License-Identifier: Apache-2.0
// Every contradiction of the load steps and capacitive loads of an edition is named where it stands.
#include <gtest/gtest.h>

#include <string>

#include "host/model/limit_sets.h"
#include "host/model/named_text.h"

namespace host::model {
namespace {

std::string complaint(const char* edition, const std::string& find, const std::string& replace) {
  std::string text = named_text("limits", edition)->text;
  const auto at = text.find(find);
  EXPECT_NE(at, std::string::npos) << find;
  text.replace(at, find.size(), replace);
  const auto limits = limits_from_text(text, "edited.textproto");
  return limits ? "" : to_string(limits.error());
}

TEST(TransientCheckTest, NamesEveryContradiction) {
  const struct {
    const char* edition;
    const char* find;
    const char* replace;
    const char* says;
  } kCases[] = {
      {"atx-3.0", "basis: STEP_BASIS_RATED_CURRENT ", "", "what it is a share of"},
      {"atx-3.0", "basis: STEP_BASIS_RATED_CURRENT ", "basis: STEP_BASIS_AMPERES ", "either step_a"},
      {"atx-3.0", "step_percent: 40", "step_a: 20", "either step_a"},
      {"atx-3.0", "step_percent: 40", "step_percent: nan", "step_percent"},
      {"atx-3.0", "step_percent: 40", "step_percent: 4000", "step_percent"},
      {"atx-3.0", "step_a: 0.1", "step_a: -0.1", "step_a"},
      {"atx-3.0", "step_a: 0.1", "step_a: inf", "step_a"},
      {"atx-3.0", "recommended_percent: 70", "recommended_percent: 30", "not smaller than the required"},
      {"atx-3.0", "from_percent: 100", "from_percent: nan", "from_percent"},
      {"atx-3.0", "slew_a_per_us: 2.5", "slew_a_per_us: 0", "slew_a_per_us"},
      {"atx-3.0", "slew_a_per_us: 2.5 ", "", "beside slew_a_per_us"},
      {"atx-3.0", " slew_status: LIMIT_STATUS_READ", "", "slew does not say"},
      {"atx-3.0", "repetition_most_hz: 10000", "repetition_most_hz: 10", "repetition must rise"},
      {"atx-3.0", " repetition_status: LIMIT_STATUS_READ", "", "repetition does not say"},
      {"atx-3.0", "table: \"Tables 4-3 and 4-4\" ", "", "names no table"},
      {"atx12v-2.0", "microfarads: 5000", "microfarads: -5000", "microfarads"},
      {"atx12v-2.0", "table: \"Table 12\" status: LIMIT_STATUS_READ", "table: \"Table 12\"", "does not say whether"},
  };
  EXPECT_EQ(complaint("atx-3.0", "T1", "T1"), "");
  for (const auto& one : kCases) {
    const std::string said = complaint(one.edition, one.find, one.replace);
    EXPECT_NE(said.find(one.says), std::string::npos) << one.find << ": " << said;
    EXPECT_NE(said.find("edited.textproto:"), std::string::npos) << said;
  }
}

}  // namespace
}  // namespace host::model
