// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/ground_network.h"

#include <gtest/gtest.h>

namespace host::simulate {
namespace {

GroundNetwork three_paths() {
  return GroundNetwork({{2e-3, 1e-3, kBoard}, {5e-3, 2e-3, kBoard}, {6e-3, 2e-3, kCard}}, 10e-3);
}

// Kirchhoff: what flows into the nodes comes back through the paths, and each node balances with the tie.
TEST(GroundNetworkTest, CurrentsBalanceAtEveryNode) {
  const GroundNetwork ground = three_paths();
  const auto volts = ground.node_volts({12, 25});
  const double board = ground.path_amps(0, volts) + ground.path_amps(1, volts);
  const double card = ground.path_amps(2, volts);
  const double tie = (volts[kCard] - volts[kBoard]) / 10e-3;
  EXPECT_NEAR(board + card, 37, 1e-12);
  EXPECT_NEAR(board, 12 + tie, 1e-12);
  EXPECT_NEAR(card, 25 - tie, 1e-12);
}

TEST(GroundNetworkTest, TapDividesItsPath) {
  const GroundNetwork ground = three_paths();
  const auto volts = ground.node_volts({0, 10});
  EXPECT_NEAR(ground.tap_volts(2, volts), ground.path_amps(2, volts) * 6e-3, 1e-15);
}

TEST(GroundNetworkTest, IdealGroundStaysAtZero) {
  const auto volts = GroundNetwork().node_volts({10, 20});
  EXPECT_EQ(volts[kBoard], 0);
  EXPECT_EQ(volts[kCard], 0);
}

}  // namespace
}  // namespace host::simulate
