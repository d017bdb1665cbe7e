// SPDX-License-Identifier: Apache-2.0
#include "host/app/nearest.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace host::app {
namespace {

const std::vector<std::string> kWords{"healthy", "weak-12v", "loose-connector", "loose-return"};

TEST(NearestTest, FindsTheMistypedWord) {
  EXPECT_EQ(nearest("helthy", kWords), "healthy");
  EXPECT_EQ(nearest("weak12v", kWords), "weak-12v");
  EXPECT_EQ(nearest("loose-retrun", kWords), "loose-return");
}

TEST(NearestTest, GuessesNothingFarAway) {
  EXPECT_EQ(nearest("", kWords), "");
  EXPECT_EQ(nearest("xyz", kWords), "");
  EXPECT_EQ(nearest(std::string(10'000, 'h'), kWords), "");
}

TEST(NearestTest, NamesAllKnownWords) {
  EXPECT_THAT(unknown_word("scenario", "helthy", kWords),
              testing::AllOf(testing::HasSubstr("Did you mean 'healthy'?"), testing::HasSubstr("loose-connector")));
}

}  // namespace
}  // namespace host::app
