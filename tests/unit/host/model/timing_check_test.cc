// SPDX-License-Identifier: Apache-2.0
// Every contradiction of times, ramps and signals of an edition is named where it stands.
#include <gtest/gtest.h>

#include <string>

#include "host/model/limit_sets.h"
#include "host/model/named_text.h"

namespace host::model {
namespace {

std::string complaint(const std::string& find, const std::string& replace) {
  std::string text = named_text("limits", "atx-3.0")->text;
  const auto at = text.find(find);
  EXPECT_NE(at, std::string::npos) << find;
  text.replace(at, find.size(), replace);
  const auto limits = limits_from_text(text, "edited.textproto");
  return limits ? "" : to_string(limits.error());
}

TEST(TimingCheckTest, NamesEveryContradiction) {
  const struct {
    const char* find;
    const char* replace;
    const char* says;
  } kCases[] = {
      {"timing: TIMING_POWER_ON ", "", "does not say which"},
      {"timing: TIMING_POWER_ON ", "timing: TIMING_RISE ", "two limits"},
      {"symbol: \"T1\" ", "", "no symbol"},
      {"least_us: 100000 most_us: 250000", "least_us: 250000 most_us: 100000", "not below most"},
      {"symbol: \"T4\" most_us: 10000", "symbol: \"T4\"", "neither least_us nor most_us"},
      {"most_us: 200000", "most_us: 200000000", "more than a minute"},
      {"to_share: 0.95", "to_share: 1.95", "rise between 0 and 1"},
      {"slope_least_per_s: 50", "slope_least_per_s: 0", "slope_least_per_s"},
      {"overshoot_status: LIMIT_STATUS_FROM_MEMORY", "", "overshoot"},
      {"low_most_uv: 400000", "low_most_uv: 4000000", "low_most_uv"},
      {"noise_status: LIMIT_STATUS_READ", "", "noise"},
      {"above_most_uv: 100000", "above_most_uv: -1", "above_most_uv"},
      {"table: \"section 4.2.8\"", "", "names no table"},
  };
  EXPECT_EQ(complaint("T1", "T1"), "");
  for (const auto& one : kCases) {
    const std::string said = complaint(one.find, one.replace);
    EXPECT_NE(said.find(one.says), std::string::npos) << one.find << ": " << said;
    EXPECT_NE(said.find("edited.textproto:"), std::string::npos) << said;
  }
}

}  // namespace
}  // namespace host::model
