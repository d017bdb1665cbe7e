// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/supply.h"

#include <gtest/gtest.h>

#include "host/data/shipped.h"

namespace host::simulate {
namespace {

model::Jig reference_jig() {
  auto jig = model::Jig::from_text(*data::shipped("jigs/reference.textproto"), "jigs/reference.textproto");
  EXPECT_TRUE(jig.has_value());
  return *jig;
}

/// Codes of the first `blocks` blocks, back to back.
std::vector<std::int16_t> codes_of(Supply& supply, int blocks) {
  std::vector<std::int16_t> all;
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  for (int i = 0; i < blocks; ++i) {
    supply.next_block(codes, edges, {});
    for (const auto& scan : codes) all.insert(all.end(), scan.begin(), scan.end());
  }
  return all;
}

TEST(SupplyTest, SameSeedGivesSameCodes) {
  auto first = Supply::create("healthy", 7, reference_jig());
  auto second = Supply::create("healthy", 7, reference_jig());
  ASSERT_TRUE(first && second);
  EXPECT_EQ(codes_of(*first, 1000), codes_of(*second, 1000));
}

TEST(SupplyTest, AnotherSeedGivesOtherCodes) {
  auto first = Supply::create("healthy", 7, reference_jig());
  auto second = Supply::create("healthy", 8, reference_jig());
  ASSERT_TRUE(first && second);
  EXPECT_NE(codes_of(*first, 100), codes_of(*second, 100));
}

TEST(SupplyTest, UnknownScenarioIsRefusedWithTheKnownOnes) {
  const auto supply = Supply::create("healthier", 1, reference_jig());
  ASSERT_FALSE(supply.has_value());
  EXPECT_NE(supply.error().find("'healthier'"), std::string::npos);
  EXPECT_NE(supply.error().find("healthy"), std::string::npos);
}

}  // namespace
}  // namespace host::simulate
