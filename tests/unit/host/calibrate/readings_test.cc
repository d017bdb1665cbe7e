// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/readings.h"

#include <gtest/gtest.h>

#include "host/calibrate/meter.h"

namespace host::calibrate {
namespace {

std::string complaint(std::string_view text) {
  const auto read = read_readings(text, "r.csv");
  return read ? "none" : model::to_string(read.error());
}

TEST(ReadingsTest, ReadsColumnsInAnyOrder) {
  const auto read = read_readings(
      "\xEF\xBB\xBF# by op-1\nreference,channel,direction,jig\r\n\n 5.0012 , main-5v, down, 4.99\n-12,main-m12v,,\n",
      "r.csv");
  ASSERT_TRUE(read);
  ASSERT_EQ(read->size(), 2U);
  EXPECT_EQ((*read)[0].channel, "main-5v");
  EXPECT_EQ((*read)[0].reference, 5.0012);
  EXPECT_EQ((*read)[0].jig, 4.99);
  EXPECT_EQ((*read)[0].direction, "down");
  EXPECT_EQ((*read)[1].reference, -12);
  EXPECT_FALSE((*read)[1].jig);
  EXPECT_EQ((*read)[1].line, 5);
}

TEST(ReadingsTest, NamesDecimalCommasByLineAndColumn) {
  EXPECT_EQ(complaint("channel,reference\nmain-5v,5.0\nmain-5v,5,0012\n"),
            "r.csv:3:9: 3 cells for 2 columns: a decimal comma? Write 5.0012, not 5,0012");
  EXPECT_NE(complaint("channel;reference\nmain-5v;5,0012\n").find("r.csv:1:1: column channel;reference"),
            std::string::npos);
  EXPECT_EQ(typed_number("5,0012").error(), "5,0012 has a decimal comma; write a decimal point, as in 5.0012");
}

TEST(ReadingsTest, NamesEverySlip) {
  EXPECT_EQ(complaint("channel,reference\nmain-5v,5.0V\n,3\nmain-5v,nan\n"),
            "r.csv:2:9: 5.0V is no number; write it as 5.0012, without its unit\nr.csv:3:1: a reading without its "
            "channel\nr.csv:4:9: nan is no number; write it as 5.0012, without its unit");
  EXPECT_EQ(complaint("channel,volts\n"), "r.csv:1:9: column volts is none of channel, reference, jig, direction");
  EXPECT_EQ(complaint("channel,jig\nmain-5v,5\n"), "r.csv:1:1: the first line names no column reference");
  EXPECT_NE(complaint("channel,reference,direction\nmain-5v,5,sideways\n").find("r.csv:2:11"), std::string::npos);
  EXPECT_NE(complaint("channel,reference\n").find("no readings"), std::string::npos);
  EXPECT_NE(complaint("").find("no readings"), std::string::npos);
}

TEST(MeterTest, NamesEverySlipByItsLine) {
  const auto broken = meter_from_text(
      "id: \"M\"\ndue: \"soon\"\nranges { unit: \"mV\" distribution: DISTRIBUTION_NORMAL }\n", "m.textproto");
  ASSERT_FALSE(broken);
  const std::string text = model::to_string(broken.error());
  EXPECT_NE(text.find("m.textproto:2:1: due"), std::string::npos) << text;
  EXPECT_NE(text.find("m.textproto:3:10: a range is in"), std::string::npos) << text;
  EXPECT_NE(text.find("states no uncertainty"), std::string::npos) << text;
  EXPECT_NE(text.find("coverage factor k"), std::string::npos) << text;
}

// 0.05 % of 12 V + 2 mV as one bound: 8 mV / sqrt 3; an expanded 8 mV at k = 2: 4 mV. The narrowest range counts.
TEST(MeterTest, StandardUncertaintyByDistribution) {
  steadyrail::proto::Meter meter;
  auto& wide = *meter.add_ranges();
  wide.set_unit("V");
  wide.set_share_of_reading(0.0005);
  wide.set_fixed(0.002);
  wide.set_distribution(steadyrail::proto::DISTRIBUTION_RECTANGULAR);
  EXPECT_NEAR(meter_uncertainty(meter, "V", -12).value(), 4.6188e-3, 1e-7);
  auto& narrow = *meter.add_ranges();
  narrow = wide;
  narrow.set_most(20);
  narrow.set_distribution(steadyrail::proto::DISTRIBUTION_NORMAL);
  narrow.set_k(2);
  EXPECT_NEAR(meter_uncertainty(meter, "V", 12).value(), 4e-3, 1e-12);
  EXPECT_NEAR(meter_uncertainty(meter, "V", 24).value(), 14e-3 / 1.7320508, 1e-7);
  EXPECT_FALSE(meter_uncertainty(meter, "A", 1));
}

}  // namespace
}  // namespace host::calibrate
