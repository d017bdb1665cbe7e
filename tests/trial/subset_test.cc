// SPDX-License-Identifier: Apache-2.0
// Two short sessions of each kind: a trial in small. Expectations are the goals of the whole trial.
#include <gtest/gtest.h>

#include "tests/trial/score.h"

namespace trial {
namespace {

TEST(SubsetTest, ThirtySessionsComeOutRight) {
  const auto bench = Bench::create();
  ASSERT_TRUE(bench.has_value()) << bench.error();
  std::vector<Row> rows;
  for (const std::string_view kind : kinds()) {
    for (std::uint64_t seed = 11; seed < 13; ++seed) {
      auto one = draw(kind, seed, *bench->judging.unit);
      ASSERT_TRUE(one.has_value()) << one.error();
      one->plan.seconds = 400;
      const auto judged = judge_case(*bench, kind, *one);
      ASSERT_TRUE(judged.has_value()) << judged.error();
      ASSERT_FALSE(judged->expected.spoiled) << kind << " with seed " << seed;
      rows.push_back(row_of(std::string(kind), seed, *judged, one->plan.seconds));
    }
  }
  int wrong = 0;
  for (const Row& row : rows) {
    SCOPED_TRACE(csv_of(row));
    if (innocent(row.kind)) {
      EXPECT_NE(row.conclusion, steadyrail::proto::CONCLUSION_SUPPLY_FAULTY);
    }
    wrong += right(row) ? 0 : 1;
  }
  EXPECT_LE(wrong, 1);  // of 30: the goal leaves 5 %
  std::printf("%s", report(rows).c_str());
}

}  // namespace
}  // namespace trial
