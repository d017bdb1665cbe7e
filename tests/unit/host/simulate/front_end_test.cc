// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/front_end.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace host::simulate {
namespace {

namespace proto = steadyrail::proto;

constexpr double kStepS = 1 / 256000.0;
constexpr double kVoltsPerCode = 3.0625e-4;

/// One +12 V channel at graphics-1 with two poles of 14.2 kHz and no noise.
proto::JigDescription one_channel() {
  proto::JigDescription jig;
  jig.set_scan_rate_hz(32000);
  proto::Channel& channel = *jig.add_channels();
  channel.set_name("graphics-1");
  channel.set_kind(proto::CHANNEL_KIND_RAIL_VOLTAGE);
  channel.set_rail(proto::RAIL_P12V);
  channel.set_connector("graphics-1");
  channel.set_unit_per_code(kVoltsPerCode);
  channel.set_unit_at_code_0(10.0352);
  channel.add_pole_hz(14.2e3);
  channel.add_pole_hz(14.2e3);
  proto::ChannelCalibration& entry = *jig.mutable_calibration()->add_channels();
  entry.set_channel("graphics-1");
  entry.set_gain(1);
  return jig;
}

class Bench {
 public:
  explicit Bench(const proto::JigDescription& jig) : front_end_(*FrontEnd::create(jig, 5, kStepS)) {
    Signals signals{};
    signals[k12Graphics1].fill(12);
    front_end_.settle(signals);
  }
  /// Volts read after a scan in which the tap followed `volts_at` of the time since the start.
  template <typename Function>
  double next(Function volts_at) {
    Signals signals{};
    for (double& volts : signals[k12Graphics1]) volts = volts_at(++steps_ * kStepS);
    front_end_.run_scan(signals);
    return read();
  }
  double read() {
    std::array<std::int16_t, wire::kChannelCount> codes{};
    front_end_.sample(0, 0, codes);
    return codes[0] * kVoltsPerCode + 10.0352;
  }

 private:
  FrontEnd front_end_;
  int steps_ = 0;
};

TEST(FrontEndTest, ReadsASteadyVoltageToHalfACode) {
  Bench bench(one_channel());
  for (int i = 0; i < 100; ++i) EXPECT_NEAR(bench.next([](double) { return 12.0; }), 12, kVoltsPerCode / 2 + 1e-9);
}

// Two poles delay a ramp by 2/(2 pi 14.2 kHz) = 22.4 us.
TEST(FrontEndTest, DelaysARampByItsTwoPoles) {
  Bench bench(one_channel());
  double read = 0;
  for (int i = 0; i < 100; ++i) read = bench.next([](double t) { return 12 + 1000 * t; });
  EXPECT_NEAR((12 + 1000 * 100 / 32000.0 - read) / 1000, 22.4e-6, 0.5e-6);
}

// Two equal poles of f0 attenuate a sine of f by 1 + (f/f0)^2: at 9 kHz by 1.402 (-2.93 dB).
TEST(FrontEndTest, AttenuatesASineAsTwoPolesDo) {
  Bench bench(one_channel());
  double most = 0;
  for (int i = 0; i < 3200; ++i) {
    const double read = bench.next([](double t) { return 12 + std::sin(2 * std::numbers::pi * 9000 * t); });
    if (i > 100) most = std::max(most, read - 12);
  }
  EXPECT_NEAR(most, 1 / (1 + (9.0 / 14.2) * (9.0 / 14.2)), 0.01);  // straight lines between sub-steps: under 1 %
}

TEST(FrontEndTest, ClipsAtTheConvertersEnds) {
  Bench bench(one_channel());
  double read = 0;
  for (int i = 0; i < 50; ++i) read = bench.next([](double) { return 30.0; });
  EXPECT_NEAR(read, 32767 * kVoltsPerCode + 10.0352, 1e-9);
  for (int i = 0; i < 50; ++i) read = bench.next([](double) { return -5.0; });
  EXPECT_NEAR(read, -32768 * kVoltsPerCode + 10.0352, 1e-9);
}

// Over many seeds the true channel scatters about its calibration with the standard uncertainty it claims.
TEST(FrontEndTest, TrueScaleScattersAsTheCalibrationClaims) {
  proto::JigDescription jig = one_channel();
  jig.mutable_calibration()->mutable_channels(0)->set_u_other(5e-3);
  double sum = 0;
  double square = 0;
  constexpr int kSeeds = 1000;
  for (int seed = 0; seed < kSeeds; ++seed) {
    FrontEnd front_end = *FrontEnd::create(jig, static_cast<std::uint64_t>(seed), kStepS);
    Signals signals{};
    signals[k12Graphics1].fill(12);
    front_end.settle(signals);
    std::array<std::int16_t, wire::kChannelCount> codes{};
    front_end.sample(0, 0, codes);
    const double error = codes[0] * kVoltsPerCode + 10.0352 - 12;
    sum += error;
    square += error * error;
  }
  EXPECT_NEAR(sum / kSeeds, 0, 5 * 5e-3 / std::sqrt(kSeeds));
  EXPECT_NEAR(std::sqrt(square / kSeeds), 5e-3, 5 * 5e-3 / std::sqrt(2.0 * kSeeds));
}

TEST(FrontEndTest, RefusesAChannelThePcDoesNotHave) {
  proto::JigDescription jig = one_channel();
  jig.mutable_channels(0)->set_connector("graphics-9");
  const auto front_end = FrontEnd::create(jig, 1, kStepS);
  ASSERT_FALSE(front_end.has_value());
  EXPECT_EQ(front_end.error(), "channel graphics-1: the simulated PC has nothing there to measure");
}

TEST(FrontEndTest, RefusesAScaleOfZero) {
  proto::JigDescription jig = one_channel();
  jig.mutable_channels(0)->set_unit_per_code(0);
  EXPECT_FALSE(FrontEnd::create(jig, 1, kStepS).has_value());
}

}  // namespace
}  // namespace host::simulate
