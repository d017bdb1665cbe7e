// SPDX-License-Identifier: Apache-2.0
// ATX12V Power Supply Design Guide v2.0, tables 3, 4 and 6 (read in a copy of the pages, manualsdump 109764/13, /14,
// /16): maximum amps of 12V1, 12V2, +5, +3.3, -12 V and +5VSB for 250, 300 and 400 W. A label that prints them is
// plausible.
#include <fmt/format.h>
#include <gmock/gmock.h>

#include <vector>

#include "tests/unit/host/label/label_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

struct Published {
  double total_w, first_a, second_a, five_a, three_a, minus_a, standby_a;
};

class PublishedDistributionTest : public testing::TestWithParam<Published> {
 protected:
  static std::string label(const Published& row) {
    return fmt::format(R"(
      id: "P" edition: "atx12v-2.0" total_w: {}
      rails {{ rail: RAIL_P12V sub_rails {{ name: "12V1" amps: {} }} sub_rails {{ name: "12V2" amps: {} }} }}
      rails {{ rail: RAIL_P5V amps: {} }} rails {{ rail: RAIL_P3V3 amps: {} }}
      rails {{ rail: RAIL_M12V amps: {} }} rails {{ rail: RAIL_P5VSB amps: {} }})",
                       row.total_w, row.first_a, row.second_a, row.five_a, row.three_a, row.minus_a, row.standby_a);
  }
};

TEST_P(PublishedDistributionTest, ComesOutPlausible) {
  const proto::LabelAudit audit = audit_of(label(GetParam()));
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_PLAUSIBLE);
  EXPECT_FALSE(remarks_on(audit, proto::LABEL_CHECK_MINOR_SHARE));
  EXPECT_TRUE(audit.share_12v_is_upper_bound());
}

TEST_P(PublishedDistributionTest, StandsInTheRulesAsPublished) {
  const Published& row = GetParam();
  const auto published = rules().distributions("atx12v-2.0");
  const auto found = std::ranges::find(published, row.total_w, [](const auto* each) { return each->total_w(); });
  ASSERT_NE(found, published.end());
  std::vector<double> amps;
  for (const auto& rating : (*found)->rails()) {
    for (const auto& sub_rail : rating.sub_rails()) amps.push_back(sub_rail.amps());
    if (rating.has_amps()) amps.push_back(rating.amps());
  }
  EXPECT_EQ(amps,
            (std::vector<double>{row.first_a, row.second_a, row.five_a, row.three_a, row.minus_a, row.standby_a}));
  EXPECT_FALSE((*found)->source().empty());
}

// The same figures with +5 and +3.3 V half as large again are beyond anything published, whatever their amps.
TEST_P(PublishedDistributionTest, NeedsExplainingWithHalfAsMuchAgainOnTheMinorOutputs) {
  Published row = GetParam();
  row.five_a *= 1.5;
  row.three_a *= 1.5;
  const proto::LabelAudit audit = audit_of(label(row));
  EXPECT_EQ(audit.verdict(), proto::LABEL_VERDICT_NEEDS_EXPLAINING);
  EXPECT_TRUE(remarks_on(audit, proto::LABEL_CHECK_MINOR_SHARE));
}

INSTANTIATE_TEST_SUITE_P(Tables, PublishedDistributionTest,
                         testing::Values(Published{250, 8, 14, 18, 17, 0.3, 2}, Published{300, 8, 14, 20, 20, 0.3, 2},
                                         Published{400, 14, 15, 28, 30, 0.3, 2}),
                         [](const auto& row) { return fmt::format("{}W", row.param.total_w); });

TEST(MinorShareTest, IsNotJudgedByAmps) {
  // 67 A and 43 A, but of 1,200 W: (335 + 141.9) / 1200 = 39.7 %, below the published 55 to 60 %.
  const proto::LabelAudit audit = audit_of(R"(
    id: "P" edition: "atx12v-2.0" total_w: 1200
    rails { rail: RAIL_P12V amps: 95 } rails { rail: RAIL_P5V amps: 67 } rails { rail: RAIL_P3V3 amps: 43 })");
  EXPECT_NEAR(audit.minor_share_percent(), 39.7417, 1e-4);
  EXPECT_FALSE(remarks_on(audit, proto::LABEL_CHECK_MINOR_SHARE));
}

TEST(MinorShareTest, IsAnHonestGapWhereNothingIsPublished) {
  const proto::LabelAudit audit = audit_of(kSound);
  EXPECT_THAT(std::vector<std::string>(audit.gaps().begin(), audit.gaps().end()),
              testing::Contains(testing::HasSubstr("no typical distribution at hand for edition atx-3.0")));
}

}  // namespace
}  // namespace host::label
