// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/channel_calibration.h"

#include <array>
#include <cmath>
#include <functional>
#include <random>
#include <vector>

#include <gtest/gtest.h>

#include "host/calibrate/certificate.h"
#include "host/calibrate/meter.h"
#include "host/data/shipped.h"
#include "host/judge/uncertainty.h"

namespace host::calibrate {
namespace {

namespace proto = steadyrail::proto;

model::Jig reference() {
  return model::Jig::from_text(data::shipped("jigs/reference.textproto").value(), "reference").value();
}

proto::Meter meter(double share = 0.0005, double fixed = 0.002) {
  proto::Meter out = meter_from_text(data::shipped("meters/bench.textproto").value(), "meter").value();
  out.mutable_ranges(0)->set_share_of_reading(share);
  out.mutable_ranges(0)->set_fixed(fixed);
  return out;
}

using Reads = std::function<double(double volts)>;

/// Up and down over the levels; the jig reads `reads`, with noise of 20 uV on the mean.
std::vector<proto::CalibrationPoint> taken(const std::string& channel, const std::vector<double>& levels,
                                           const Reads& reads, unsigned seed = 1) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> noise(0, 20e-6);
  std::vector<proto::CalibrationPoint> out;
  for (const char* way : {"up", "down"}) {
    for (std::size_t i = 0; i < levels.size(); ++i) {
      proto::CalibrationPoint& point = out.emplace_back();
      point.set_channel(channel);
      point.set_direction(way);
      point.set_reference(std::string(way) == "up" ? levels[i] : levels[levels.size() - 1 - i]);
      point.set_jig(reads(point.reference()) + noise(random));
      point.set_jig_sd(400e-6);
      point.set_scans(32000);
    }
  }
  return out;
}

const std::vector<double> kLevels = {1, 3, 5, 8, 11, 12, 13};

proto::ChannelCertificate calibrated(const std::vector<proto::CalibrationPoint>& points,
                                     const proto::Meter& by = meter(), const std::string& channel = "main-12v") {
  const model::Jig jig = reference();
  return calibrate_channel(jig, *jig.find(channel), by, points, class_share(jig.description()));
}

double right(double volts) {
  return (volts - 0.01) / 1.004;
}

// The seven points of line_fit_test (NumPy's lstsq) through the whole of it: gain 1.004008381, offset 11.936897 mV,
// u(gain) 2.796e-5, u(offset) 0.2427 mV, correlation -0.8673. At nominal 11.940 V, where 12 V are true, they make
// 0.1726 mV.
TEST(ChannelCalibrationTest, FindsTheWorkedExample) {
  const std::array<double, 7> raw = {0.98436255,   2.975896414,  4.968227092, 7.955776892,
                                     10.944422311, 11.940537849, 12.935956175};
  std::vector<proto::CalibrationPoint> points;
  for (std::size_t i = 0; i < raw.size(); ++i) {
    proto::CalibrationPoint& point = points.emplace_back();
    point.set_direction(i % 2 == 0 ? "up" : "down");
    point.set_reference(kLevels[i]);
    point.set_jig(raw[i]);
  }
  const proto::ChannelCertificate found = calibrated(points);
  EXPECT_EQ(found.outcome(), "calibrated") << found.reason();
  EXPECT_NEAR(found.gain(), 1.004008381, 5e-10);
  EXPECT_NEAR(found.offset(), 11.936897e-3, 5e-10);
  EXPECT_NEAR(found.u_gain(), 2.796e-5, 5e-9);
  EXPECT_NEAR(found.u_offset(), 0.2427e-3, 5e-8);
  EXPECT_NEAR(found.correlation(), -0.8673, 5e-5);
  EXPECT_NEAR(found.u_fit(), 0.1726e-3, 8e-8);
  EXPECT_NEAR(found.residual_sd(), 0.3196e-3, 5e-8);
}

// U at 12 V by hand: meter one bound of 8 mV / sqrt 3 = 4.62 mV, its own calibration 0.3 mV, display 0.03 mV; the rest
// of the reference jig's list without its meter, sqrt(5.235^2 - 4.62^2 - 0.3^2) = 2.44 mV: U = 2 x 5.23 mV.
TEST(ChannelCalibrationTest, PutsTheMeterInTheBudget) {
  const proto::ChannelCertificate found = calibrated(taken("main-12v", kLevels, right));
  ASSERT_EQ(found.outcome(), "calibrated") << found.reason();
  EXPECT_NEAR(found.u_meter(), std::hypot(8e-3 / std::sqrt(3.0), 0.3e-3), 1e-6);
  EXPECT_NEAR(found.u_other(), 5.235e-3, 5e-6);
  EXPECT_NEAR(found.expanded(), 10.5e-3, 0.05e-3);
  EXPECT_NEAR(found.gain(), 1.004, 2e-5);
  const proto::ChannelCalibration entry = entry_of(found, reference().description());
  EXPECT_NEAR(entry.u_temperature(), 2.088e-3, 2e-6);
  EXPECT_NEAR(entry.u_converter(), 0.713e-3, 1e-6);
  EXPECT_NEAR(entry.u_age(), 0.693e-3, 1e-6);
}

TEST(ChannelCalibrationTest, RefusesTooFewPoints) {
  EXPECT_EQ(calibrated({}).outcome(), "uncalibrated");
  const auto two = calibrated(taken("main-12v", {1, 13}, right));
  EXPECT_EQ(two.outcome(), "refused");
  EXPECT_NE(two.reason().find("2 different points, at least 5"), std::string::npos) << two.reason();
  EXPECT_EQ(calibrated(taken("main-12v", {12, 12, 12, 12, 12}, right)).reason(), "all points lie at one level");
  // A point told five times is one point.
  const auto same = calibrated(taken("main-12v", {1, 1.01, 12.6, 12.61, 12.62, 12.63}, right));
  EXPECT_NE(same.reason().find("2 different points"), std::string::npos) << same.reason();
  std::vector<proto::CalibrationPoint> points = taken("main-12v", kLevels, right);
  points.resize(7);
  EXPECT_EQ(calibrated(points).reason(), "not taken up and down");
}

TEST(ChannelCalibrationTest, RefusesSwappedLeadsAndAWrongDivider) {
  const auto swapped = calibrated(taken("main-12v", kLevels, [](double v) { return 20 - v; }));
  EXPECT_NE(swapped.reason().find("leads are swapped"), std::string::npos) << swapped.reason();
  const auto other = calibrated(taken("main-12v", kLevels, [](double v) { return 0.41 * v; }));
  EXPECT_NE(other.reason().find("no correction"), std::string::npos);
  std::vector<proto::CalibrationPoint> amps =
      taken("current-graphics-2", {5, 10, 20, 30, 40, 50}, [](double a) { return -a; });
  EXPECT_NE(calibrated(amps, meter(), "current-graphics-2").reason().find("against the arrow"), std::string::npos);
}

TEST(ChannelCalibrationTest, RefusesWhatItWouldHaveToExtrapolate) {
  const auto found = calibrated(taken("main-12v", {1, 3, 5, 8, 11, 12}, right));
  EXPECT_NE(found.reason().find("8 to 100 % of 12 V"), std::string::npos) << found.reason();
  EXPECT_NE(calibrated(taken("main-12v", {1, 3, 5, 8, 12, 19.99}, [](double v) { return v * 1.003; }))
                .reason()
                .find("end of its range"),
            std::string::npos);
  EXPECT_NE(calibrated(taken("main-12v", {1, 3, 5, 8, 12, 20.01}, [](double v) { return v * 0.99; }))
                .reason()
                .find("no range for 20.01 V"),
            std::string::npos);
}

// 1 % of 12 V as a bound: U = 2 x 120 mV / sqrt 3 = 139 mV, 1.2 %.
TEST(ChannelCalibrationTest, RefusesAMeterOfOnePercentForTheClass) {
  const auto found = calibrated(taken("main-12v", kLevels, right), meter(0.01, 0));
  EXPECT_EQ(found.outcome(), "refused");
  EXPECT_NE(found.reason().find("U is 139 mV at 12 V, 1.2 %"), std::string::npos) << found.reason();
  const model::Jig jig = reference();
  const auto points = taken("main-12v", kLevels, right);
  EXPECT_EQ(calibrate_channel(jig, *jig.find("main-12v"), meter(0.01, 0), points, 0.02).outcome(), "calibrated");
}

TEST(ChannelCalibrationTest, RefusesResidualsThatAreNotNoise) {
  // A clamp that begins to conduct: 6 mV lost at 13 V, as the square of the voltage.
  const auto bent = calibrated(taken("main-12v", kLevels, [](double v) { return right(v) - 20e-3 * v * v / 169; }));
  EXPECT_EQ(bent.outcome(), "refused");
  EXPECT_NE(bent.reason().find("bent"), std::string::npos) << bent.reason();
  std::vector<proto::CalibrationPoint> points = taken("main-12v", kLevels, right);
  points[9].set_reference(points[9].reference() + 0.03);
  const auto slip = calibrated(points);
  EXPECT_NE(slip.reason().find("point 10 at 11.03 V stands out"), std::string::npos) << slip.reason();
  points = taken("main-12v", kLevels, right);
  for (std::size_t i = 7; i < 14; ++i) points[i].set_jig(points[i].jig() + 10e-3);
  EXPECT_NE(calibrated(points).reason().find("way up and the way down"), std::string::npos);
  // What noise hardly does, but U does not feel, is a remark.
  const auto little = calibrated(taken("main-12v", kLevels, [](double v) { return right(v) - 0.5e-3 * v * v / 169; }));
  EXPECT_EQ(little.outcome(), "calibrated") << little.reason();
  EXPECT_GT(little.remarks_size(), 0);
}

// The zero moved by 0.2 A: 0.2 / sqrt 3 = 0.115 A in the budget.
TEST(ChannelCalibrationTest, SelfHeatingOfACurrentGoesIntoItsBudget) {
  std::vector<proto::CalibrationPoint> points =
      taken("current-graphics-2", {5, 10, 20, 30, 40, 50}, [](double a) { return a; });
  const double before = calibrated(points, meter(), "current-graphics-2").u_other();
  for (const char* zero : {"zero-cold", "zero-warm"}) {
    proto::CalibrationPoint& point = points.emplace_back();
    point.set_channel("current-graphics-2");
    point.set_direction(zero);
    point.set_jig(std::string(zero) == "zero-cold" ? 0.0 : 0.2);
  }
  std::ranges::rotate(points, points.end() - 2);
  const auto found = calibrated(points, meter(), "current-graphics-2");
  EXPECT_NEAR(found.u_self_heating(), 0.2 / std::sqrt(3.0), 1e-9);
  EXPECT_NEAR(found.u_other(), std::hypot(before, 0.2 / std::sqrt(3.0)), 1e-6);
}

TEST(CertificateTest, SaysOfEveryChannelWhetherItIsCalibrated) {
  const model::Jig jig = reference();
  proto::CalibrationProgress progress;
  progress.set_id("C-1");
  progress.set_jig_id("J-01");
  progress.set_started("2026-03-31");
  progress.set_months(12);
  progress.set_class_share(0.0015);
  *progress.mutable_meter() = meter();
  for (auto& point : taken("main-12v", kLevels, right)) *progress.add_points() = point;
  for (auto& point : taken("graphics-1", {1, 13}, right)) *progress.add_points() = point;
  const Certified found = certify(jig, progress).value();
  EXPECT_EQ(found.calibrated, 1);
  EXPECT_EQ(found.refused, 1);
  EXPECT_EQ(found.certificate.channels_size(), 23);
  EXPECT_EQ(found.certificate.due(), "2027-03-31");
  EXPECT_NE(found.certificate.caution().find("CAUTION"), std::string::npos);
  ASSERT_EQ(found.jig.calibration().channels_size(), 1);
  EXPECT_EQ(found.jig.calibration().channels(0).gain(), found.certificate.channels(0).gain());
  const model::Jig after = model::Jig::from_description(found.jig, "after").value();
  EXPECT_TRUE(after.find("main-12v")->calibrated);
  EXPECT_FALSE(after.find("graphics-1")->calibrated);
  // What the certificate states is what the jig's readings will carry.
  EXPECT_NEAR(judge::expanded_uncertainty(*after.find("main-12v"), 12, 320).expanded,
              found.certificate.channels(0).expanded(), 1e-6);
  progress.mutable_meter()->set_due("2026-03-30");
  EXPECT_NE(certify(jig, progress).error().find("due"), std::string::npos);
}

}  // namespace
}  // namespace host::calibrate
