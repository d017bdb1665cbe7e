// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/mains.h"

#include <gtest/gtest.h>

#include <cmath>

namespace host::simulate {
namespace {

constexpr double kScanS = 1 / 32000.0;

double seconds_to(BulkCapacitor& bulk, double volts, double watts) {
  double seconds = 0;
  while (bulk.volts() > volts && seconds < 1) {
    bulk.advance(watts, 0, kScanS);
    seconds += kScanS;
  }
  return seconds;
}

// t = eta C (V1^2 - V2^2)/(2 P): 390 uF, 385 to 310 V, 0.92, 550 W: 17.002 ms; 325 to 310 V: 3.107 ms.
TEST(BulkCapacitorTest, HoldsUpAsLongAsItsEnergyLasts) {
  BulkCapacitor bulk({});
  EXPECT_NEAR(seconds_to(bulk, 325, 550), 17.002e-3 - 3.107e-3, kScanS);
  EXPECT_NEAR(seconds_to(bulk, 310, 550), 3.107e-3, 2 * kScanS);
}

// The time is proportional to the capacitance: 20 % less holds for 13.6 ms.
TEST(BulkCapacitorTest, AgedCapacitorHoldsForLess) {
  BulkParameters aged;
  aged.farad *= 0.8;
  BulkCapacitor bulk(aged);
  EXPECT_NEAR(seconds_to(bulk, 310, 550), 13.6e-3, kScanS);
}

TEST(BulkCapacitorTest, RefillsAndHoldsItsVoltage) {
  BulkCapacitor bulk({});
  seconds_to(bulk, 330, 550);
  for (int i = 0; i < 32000; ++i) bulk.advance(550, 1, kScanS);
  EXPECT_NEAR(bulk.volts(), 385, 0.1);
}

// The missing sine stays within 20 % of its peak for at most 2 asin(0.2)/(2 pi 50 Hz) = 1.282 ms, around a zero
// crossing: no loss shows later than that, and none before it happens.
TEST(AcDetectorTest, SeesALossWhereverItFalls) {
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    Mains mains({.hz = 50, .dip_every_s = 0.1, .dip_least_s = 0.05, .dip_most_s = 0.05, .dip_level_most = 0}, seed,
                kScanS);
    AcDetector detector;
    int lost_for = 0;
    while (detector.present()) {
      mains.advance();
      if (mains.level() < 1) ++lost_for;
      detector.advance(mains, kScanS);
      ASSERT_LT(lost_for, 100);
    }
    EXPECT_GT(lost_for, 0);
    EXPECT_LE(lost_for * kScanS, 1.282e-3 + 2 * kScanS) << "seed " << seed;
  }
}

}  // namespace
}  // namespace host::simulate
