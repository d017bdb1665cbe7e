// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/world.h"

#include <gtest/gtest.h>

#include <cmath>

#include "link.pb.h"
#include "tests/unit/host/simulate/session_fixture.h"

namespace host::simulate {
namespace {

World make_world(const SupplyParameters& parameters, std::uint64_t seed = 1) {
  return World(parameters, *FrontEnd::create(reference_jig().description(), seed, kSubStepS), seed, true);
}

/// Runs block by block and remembers when things happened, s.
class Watch {
 public:
  explicit Watch(const SupplyParameters& parameters) : world(make_world(parameters)) {}
  void block() {
    const double first = static_cast<double>(world.scan());
    world.next_block(codes_, edges, {});
    for (const wire::ScanEdge& edge : edges) {
      const double time_s = (first + edge.offset + edge.offset_256 / 256.0) * kScanS;
      if (edge.line == steadyrail::proto::LINE_PWR_OK && edge.pulse_ns == 0) {
        (edge.high != 0 ? good_s : lost_s) = time_s;
      }
      if (edge.line == steadyrail::proto::LINE_AC_PRESENT && edge.high == 0 && ac_lost_s < 0) ac_lost_s = time_s;
    }
    if (rail_left_s < 0 && world.rails().now().plug_v[k12Main] < 11.4) rail_left_s = time();
    if (standby_left_s < 0 && world.rails().now().plug_v[k5SbMain] < 4.75) standby_left_s = time();
  }
  double time() const { return static_cast<double>(world.scan()) * kScanS; }

  World world;
  double ac_lost_s = -1, lost_s = -1, good_s = -1, rail_left_s = -1, standby_left_s = -1;
  std::vector<wire::ScanEdge> edges;

 private:
  wire::ScanCodes codes_{};
};

// Mains away for good: first the adapter shows it, then PWR_OK goes with at least 1 ms of warning (ATX: T6 >= 1 ms),
// then the rails, and +5 V standby long after.
TEST(WorldTest, MainsLossTakesThingsDownInOrder) {
  SupplyParameters supply = healthy_supply();
  supply.mains = {.hz = 50, .dip_every_s = 1, .dip_least_s = 30, .dip_most_s = 30, .dip_level_most = 0};
  Watch watch(supply);
  while (watch.time() < 12 && watch.standby_left_s < 0) watch.block();
  ASSERT_GT(watch.ac_lost_s, 0);
  EXPECT_GT(watch.lost_s, watch.ac_lost_s + 8e-3);
  EXPECT_GT(watch.rail_left_s, watch.lost_s + 1e-3);
  EXPECT_GT(watch.standby_left_s, watch.rail_left_s + 0.1);
  EXPECT_EQ(watch.world.supply_state(), SupplyState::kNoStandby);
}

TEST(WorldTest, ComesBackByItselfWhenTheMainsDoes) {
  SupplyParameters supply = healthy_supply();
  supply.mains = {.hz = 50, .dip_every_s = 3, .dip_least_s = 0.4, .dip_most_s = 0.4, .dip_level_most = 0};
  Watch watch(supply);
  while (watch.rail_left_s < 0 && watch.time() < 5) watch.block();
  ASSERT_GT(watch.rail_left_s, 0);
  EXPECT_EQ(watch.world.supply_state(), SupplyState::kIdle);
  while (watch.good_s < watch.lost_s && watch.time() < 8) watch.block();
  EXPECT_GT(watch.good_s, watch.lost_s + 0.4);
  EXPECT_EQ(watch.world.supply_state(), SupplyState::kOn);
}

TEST(WorldTest, OvervoltageTripsAndLatches) {
  SupplyParameters supply = healthy_supply();
  supply.drift = {.begin_s = 0.5, .full_s = 0.6, .share = 0.3};
  Watch watch(supply);
  while (watch.time() < 1) watch.block();
  EXPECT_EQ(watch.world.supply_state(), SupplyState::kLatched);
  EXPECT_EQ(watch.world.trip(), Trip::kOverVoltage);
  EXPECT_GT(watch.lost_s, 0.5);
}

// Kirchhoff over the whole supply: what goes out over all rails comes back through the returns, at every sub-step.
TEST(WorldTest, ReturnCurrentsAddUpToSupplyCurrents) {
  Watch watch(healthy_supply());
  for (int block = 0; block < 500; ++block) {
    watch.block();
    for (std::size_t sub_step = 0; sub_step < kSubSteps; ++sub_step) {
      const Instant instant = watch.world.rails().at(sub_step);
      double out = 0;
      for (std::size_t t = 0; t < kTaps; ++t)
        out += kTapRail[t] == steadyrail::proto::RAIL_M12V ? -instant.amps[t] : instant.amps[t];
      double back = 0;
      for (std::size_t c = 0; c < kConnectors; ++c) back += watch.world.rails().ground().path_amps(c, instant.ground_v);
      ASSERT_NEAR(back, out, 1e-9);
    }
  }
}

// The plug's volts are what the supply gives less both conductors: V = V_out - R i - L di/dt - return tap. In a steady
// stretch between two plugs of the rail: (V_A - V_B) + (G_A - G_B) = R_B i_B - R_A i_A.
TEST(WorldTest, PlugsDifferByTheirSupplyConductorsOnce) {
  SupplyParameters supply = healthy_supply();
  supply.pc.present = false;  // nothing moves
  World world = make_world(supply);
  wire::ScanCodes codes{};
  std::vector<wire::ScanEdge> edges;
  for (int block = 0; block < 3000; ++block) {
    world.next_block(codes, edges, {.from_scan = 0, .gates = 0b11011, .ps_on_driven = 1});
  }
  const Instant& now = world.rails().now();
  ASSERT_GT(now.plug_v[k12Main], 11);
  const GroundNetwork& ground = world.rails().ground();
  const double volts = now.plug_v[k12Graphics1] - now.plug_v[k12Processor1];
  const double grounds = ground.tap_volts(kGraphics1, now.ground_v) - ground.tap_volts(kProcessor1, now.ground_v);
  const auto& harnesses = supply.rails.p12v.harnesses;
  EXPECT_NEAR(volts + grounds,
              harnesses[k12Processor1].wire_ohm * now.amps[k12Processor1] -
                  harnesses[k12Graphics1].wire_ohm * now.amps[k12Graphics1],
              1e-6);
}

TEST(WorldTest, LowVoltageAtTheLoadCanHangThePc) {
  SupplyParameters supply = healthy_supply();
  supply.contact = {.tap = k12Graphics1, .ohm = 35e-3, .closed_mean_s = 0, .open_mean_s = 0};
  supply.pc.hang_chance = 1;
  Watch watch(supply);
  while (watch.world.pc_state() != PcState::kHung && watch.time() < 5) watch.block();
  EXPECT_EQ(watch.world.pc_state(), PcState::kHung);
  EXPECT_LT(watch.time(), 5);
}

}  // namespace
}  // namespace host::simulate
