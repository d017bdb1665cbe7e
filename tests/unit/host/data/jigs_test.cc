// SPDX-License-Identifier: Apache-2.0
// The jigs that ship, against their analogue chain and error budget worked out again from the part values.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "host/data/shipped.h"
#include "host/judge/uncertainty.h"
#include "host/model/jig.h"

namespace {

using host::model::Jig;
using host::model::JigChannel;

Jig shipped_jig(std::string_view name) {
  const auto text = host::data::shipped(name);
  if (!text) throw std::runtime_error("not shipped: " + std::string(name));
  auto jig = Jig::from_text(*text, name);
  if (!jig) throw std::runtime_error(host::model::to_string(jig.error()));
  return *jig;
}

Jig reference_jig() {
  return shipped_jig("jigs/reference.textproto");
}

// Part values of the chain; 4.096 V over 65,536 codes.
struct Chain {
  std::string_view channel;
  double top_ohm;
  double bottom_ohm;
  double c1_farad;
};
constexpr Chain kChains[] = {
    {"main-12v", 11700, 3000, 4.7e-9},    {"main-5v", 5020, 4990, 4.7e-9},     {"main-3v3", 3000, 4990, 5.6e-9},
    {"standby-5v", 5020, 4990, 4.7e-9},   {"pwr-ok", 100000, 100000, 0.22e-9}, {"ps-on", 100000, 100000, 0.22e-9},
    {"processor-1", 11700, 3000, 4.7e-9}, {"graphics-1", 11700, 3000, 4.7e-9}, {"peripheral-12v", 11700, 3000, 4.7e-9},
};

double pole_hz(double ohm, double farad) {
  return 1 / (2 * std::numbers::pi * ohm * farad);
}

TEST(ReferenceJigTest, ScalesFollowFromTheDividers) {
  const Jig jig = reference_jig();
  for (const Chain& chain : kChains) {
    const JigChannel* channel = jig.find(chain.channel);
    ASSERT_NE(channel, nullptr) << chain.channel;
    const double ratio = chain.bottom_ohm / (chain.top_ohm + chain.bottom_ohm);
    const auto& written = jig.description().channels(static_cast<int>(channel->index));
    EXPECT_NEAR(written.unit_per_code(), 4.096 / 65536 / ratio, 1e-12) << chain.channel;
    EXPECT_NEAR(written.unit_at_code_0(), 2.048 / ratio, 1e-7) << chain.channel;
    ASSERT_EQ(channel->pole_hz.size(), 2u);
    EXPECT_NEAR(channel->pole_hz[0], pole_hz(ratio * chain.top_ohm, chain.c1_farad), 1) << chain.channel;
    EXPECT_NEAR(channel->pole_hz[1], pole_hz(2000, 5.6e-9), 1) << chain.channel;
  }
}

// Upper leg of the -12 V channel: Vadc = (4.096 V * 40.2k + Vin * 10k) / 50.2k, which ngspice puts at 0.88963 V for
// -12 V (a chain simulated apart from this project's code).
TEST(ReferenceJigTest, NegativeRailReadsThroughTheReferenceTiedDivider) {
  const Jig jig = reference_jig();
  const auto& written = jig.description().channels(3);
  const double code = 0.88963 / 4.096 * 65536 - 32768;
  EXPECT_NEAR(written.unit_per_code() * code + written.unit_at_code_0(), -12.0, 1e-3);
}

TEST(ReferenceJigTest, HoldsTwentyFourChannelsOnThreeConverters) {
  const Jig jig = reference_jig();
  ASSERT_EQ(jig.channels().size(), 24u);
  for (std::size_t i = 0; i < 24; ++i) {
    const std::string input = std::string(1, "mpg"[i / 8]) + "." + std::to_string(i % 8);
    EXPECT_EQ(jig.description().channels(static_cast<int>(i)).input(), input);
  }
  EXPECT_EQ(jig.scan_rate_hz(), 32000);
  EXPECT_EQ(jig.description().id(), "J-01");
  EXPECT_EQ(jig.description().calibration().id(), "CAL-J01-1");
}

// 91 dB below a +-4.096 V sine (data-sheet class), seen through the divider: 0.40 mV rms at +12 V.
TEST(ReferenceJigTest, NoiseOfOneSampleIsTheConverters) {
  const Jig jig = reference_jig();
  const double at_converter = 4.096 / std::numbers::sqrt2 * std::pow(10, -91.0 / 20);
  EXPECT_NEAR(jig.find("graphics-1")->noise_rms, at_converter / (3.0 / 14.7), 2e-6);
  EXPECT_NEAR(jig.find("graphics-1")->noise_rms, 0.40e-3, 0.005e-3);
  EXPECT_NEAR(jig.find("current-graphics-1")->noise_rms, 0.05, 1e-4);
  EXPECT_NEAR(jig.find("current-main-5v")->noise_rms, 0.05, 1e-4);
}

// One build's share of the budget. Component figures: data-sheet class, from memory.
struct Build {
  double converter_bits;
  double linearity_codes;
  double divider_ppm_per_k;
  double reference_ppm_per_k;
  double leg_mismatch;
};
constexpr Build kPrecise{16, 4, 25, 10, 0.001};
constexpr Build kPlain{12, 3, 100, 50, 0.01};

// Everything the fit cannot see, in V: rectangular bounds over sqrt(3), quantisation over sqrt(12), the meter's own
// certificate over its k = 2. GUM 4.3.7 for the rectangular bounds (from memory).
double u_other_v(double volts, double ratio, const Build& build) {
  const double bit = 4.096 / ratio / std::exp2(build.converter_bits);
  const bool twelve = volts > 6;
  const std::vector<double> bounds = {
      volts * 0.0005 + 0.002,
      20e-6,
      volts * (1 - ratio) * std::numbers::sqrt2 * build.divider_ppm_per_k * 10e-6,
      volts * build.reference_ppm_per_k * 10e-6,
      volts * 100e-6,
      100e-6 / ratio,
      build.linearity_codes * bit,
      bit / 2,
      (twelve ? 1e-6 : 0.2e-6) * 930,
      5e-9 * 3400 / ratio,
      1e-3,
      0.2 * build.leg_mismatch,
  };
  double squares = std::pow(volts * 0.00005 / 2, 2);
  for (double bound : bounds) squares += bound * bound / 3;
  return std::sqrt(squares);
}

TEST(ReferenceJigTest, UncertaintyIsTheBudgetWorkedOutAgain) {
  const Jig jig = reference_jig();
  EXPECT_NEAR(jig.find("main-12v")->u_other, u_other_v(12, 3.0 / 14.7, kPrecise), 2e-6);
  EXPECT_NEAR(jig.find("main-5v")->u_other, u_other_v(5, 4.99 / 10.01, kPrecise), 2e-6);
  EXPECT_NEAR(jig.find("main-3v3")->u_other, u_other_v(3.3, 4.99 / 7.99, kPrecise), 2e-6);
  EXPECT_NEAR(jig.find("main-m12v")->u_other, u_other_v(12, 10.0 / 50.2, kPrecise), 2e-6);
  const Jig small = shipped_jig("jigs/small.textproto");
  EXPECT_NEAR(small.find("main-12v")->u_other, u_other_v(12, 3.0 / 14.7, kPlain), 5e-6);
  EXPECT_NEAR(small.find("main-5v")->u_other, u_other_v(5, 4.99 / 10.01, kPlain), 5e-6);
  EXPECT_NEAR(small.find("main-3v3")->u_other, u_other_v(3.3, 4.99 / 7.99, kPlain), 5e-6);
}

// The parts told apart in the description are those of the same budget: linearity and quantisation, drift over 10 K,
// ageing over a year.
TEST(ReferenceJigTest, PartsOfTheBudgetAreTheirLinesOfTheTable) {
  const Jig jig = reference_jig();
  const auto& volts = *jig.find("main-12v");
  EXPECT_NEAR(volts.u_converter, std::hypot(0.707e-3, 0.088e-3), 2e-6);
  EXPECT_NEAR(volts.u_temperature, std::hypot(1.950e-3, 0.693e-3, 0.283e-3), 2e-6);
  EXPECT_NEAR(volts.u_age, 0.693e-3, 1e-6);
  EXPECT_NEAR(jig.find("main-5v")->u_temperature, std::hypot(0.512e-3, 0.289e-3, 0.116e-3), 2e-6);
}

// An independent budget in Python gave 10.45 mV (precise) and 26.05 mV (plain) before the meter's own calibration, its
// thermal voltages and the common-mode term were added; those add 0.02 and 0.12 mV.
TEST(ReferenceJigTest, ExpandedUncertaintyOfTwelveVoltsOverTenMilliseconds) {
  const Jig jig = reference_jig();
  EXPECT_NEAR(host::judge::expanded_uncertainty(*jig.find("main-12v"), 12, 320).expanded, 10.48e-3, 0.02e-3);
  EXPECT_NEAR(host::judge::expanded_uncertainty(*jig.find("main-12v"), 12, 1).expanded, 10.51e-3, 0.02e-3);
  const Jig small = shipped_jig("jigs/small.textproto");
  EXPECT_NEAR(host::judge::expanded_uncertainty(*small.find("main-12v"), 12, 320).expanded, 26.17e-3, 0.05e-3);
}

TEST(ReferenceJigTest, EveryChannelButTheAuxiliaryIsCalibrated) {
  const Jig jig = reference_jig();
  for (const JigChannel& channel : jig.channels()) {
    EXPECT_EQ(channel.calibrated, channel.kind != steadyrail::proto::CHANNEL_KIND_AUXILIARY) << channel.name;
  }
}

TEST(SmallJigTest, HoldsEightChannels) {
  const Jig small = shipped_jig("jigs/small.textproto");
  EXPECT_EQ(small.channels().size(), 8u);
  EXPECT_EQ(small.find("graphics-1")->current, small.find("current-graphics-1")->index);
}

// A lost sine stays within 20 % of its peak for at most 2 asin(0.2)/(2 pi f), round a zero crossing; the poles of a
// chain make its output 1/(2 pi f) later each: 22.4 us for two at 14.2 kHz.
TEST(ReferenceJigTest, LateAsItsDetectorsAre) {
  const Jig jig = reference_jig();
  const auto& lines = jig.description().lines();
  const double departure = std::asin(lines.departure_share());
  EXPECT_NEAR(lines.mains_latency_50_s(), 2 * departure / (2 * std::numbers::pi * 50), 1e-7);
  EXPECT_NEAR(lines.mains_latency_60_s(), 2 * departure / (2 * std::numbers::pi * 60), 1e-7);
  EXPECT_NEAR(jig.find("main-12v")->delay_s(), 22.4e-6, 0.1e-6);
  EXPECT_TRUE(lines.mains_waveform());
  EXPECT_FALSE(shipped_jig("jigs/small.textproto").description().lines().mains_waveform());
}

}  // namespace
