// SPDX-License-Identifier: Apache-2.0
// A thousand jigs, each calibrated once against a meter of its own and asked one voltage within the year: does the
// truth lie inside the U they state? The errors are drawn from the distributions the description lists; the arithmetic
// under test only sees readings.
#include <array>
#include <cmath>
#include <cstdio>
#include <random>
#include <vector>

#include <gtest/gtest.h>

#include "host/calibrate/certificate.h"
#include "host/calibrate/meter.h"
#include "host/calibrate/plan.h"
#include "host/data/shipped.h"
#include "host/judge/uncertainty.h"
#include "host/model/jig_budget.h"

namespace host::calibrate {
namespace {

namespace proto = steadyrail::proto;

constexpr int kJigs = 1000;
constexpr double kMeanScans = 320;  // 10 ms

class World {
 public:
  World(unsigned seed, bool normal_meter)
      : random_(seed),
        normal_meter_(normal_meter),
        jig_(model::Jig::from_text(data::shipped("jigs/reference.textproto").value(), "reference").value()),
        meter_(meter_from_text(data::shipped("meters/bench.textproto").value(), "meter").value()) {
    if (!normal_meter) return;
    meter_.mutable_ranges(0)->set_distribution(proto::DISTRIBUTION_NORMAL);
    meter_.mutable_ranges(0)->set_k(2);
  }

  /// Whether one jig's reading holds the truth within the U it states.
  bool one_jig_holds() {
    constexpr std::array kChannels = {"main-12v", "main-5v", "main-3v3", "main-m12v"};
    const model::JigChannel& channel = *jig_.find(kChannels[random_() % kChannels.size()]);
    const double gain = 1 + 0.003 * normal();
    const double offset = 5e-3 * normal();
    const double nominal_v = model::rail_nominal_v(channel.rail);
    const double meter_error = normal_meter_ ? normal() / 2 : uniform();  // of the bound, the same at every point
    const double own_error = normal();
    proto::CalibrationProgress progress = sheet();
    for (const Step& step : plan(jig_, {channel.name}, false, Purpose::kCalibration)) {
      const double truth = step.target * (1 + 0.01 * uniform());
      proto::CalibrationPoint& point = *progress.add_points();
      point.set_channel(channel.name);
      point.set_direction(step.direction);
      point.set_reference(meter_reads(truth, meter_error, own_error));
      point.set_jig((truth - offset) / gain + channel.noise_rms / std::sqrt(32000.0) * normal());
      point.set_jig_sd(channel.noise_rms);
      point.set_scans(32000);
    }
    const Certified found = certify(jig_, progress).value();
    if (found.calibrated != 1) {
      ++refused_;
      return true;  // counted apart: it states no U
    }
    const model::Jig after = model::Jig::from_description(found.jig, "after").value();
    const double truth = nominal_v * (1 + 0.05 * uniform());
    double nominal_reading = (truth - offset) / gain + channel.noise_rms / std::sqrt(kMeanScans) * normal();
    nominal_reading += drawn_rest(channel.name);
    const model::JigChannel& calibrated = *after.find(channel.name);
    const double reading = calibrated.gain * nominal_reading + calibrated.offset;
    return std::abs(reading - truth) <= judge::expanded_uncertainty(calibrated, reading, kMeanScans).expanded;
  }

  /// JCGM 101: the same error drawn straight from the description's list and the meter's, without any calibration.
  double expected_by_monte_carlo(int trials) {
    int inside = 0;
    for (int trial = 0; trial < trials; ++trial) {
      constexpr std::array kChannels = {"main-12v", "main-5v", "main-3v3", "main-m12v"};
      const std::string name = kChannels[random_() % kChannels.size()];
      const double at = std::abs(model::rail_nominal_v(jig_.find(name)->rail));
      const double bound = 0.0005 * at + 0.002;
      const double error = bound * (normal_meter_ ? normal() / 2 : uniform()) + 0.00005 * at / 2 * normal();
      const double u_meter = meter_uncertainty(meter_, "V", at).value();
      const double u = std::hypot(u_meter, rest_u(name));
      if (std::abs(error + drawn_rest(name)) <= 2 * u) ++inside;
    }
    return inside / static_cast<double>(trials);
  }

  int refused() const { return refused_; }

 private:
  double normal() { return normal_(random_); }
  double uniform() { return uniform_(random_); }

  proto::CalibrationProgress sheet() const {
    proto::CalibrationProgress out;
    out.set_id("C");
    out.set_jig_id("J-01");
    out.set_started("2026-01-01");
    out.set_months(12);
    out.set_class_share(0.0015);
    *out.mutable_meter() = meter_;
    return out;
  }

  double meter_reads(double truth, double share_of_bound, double own) {
    const double bound = 0.0005 * std::abs(truth) + 0.002;
    const double shown = truth + bound * share_of_bound + 0.00005 * std::abs(truth) / 2 * own;
    return std::round(shown / 1e-4) * 1e-4;
  }

  double drawn_rest(const std::string& channel) {
    double sum = 0;
    for (const proto::Contributor& one : model::budget_of(jig_.description(), channel)->contributors()) {
      if (one.part() == proto::BUDGET_PART_METER) continue;
      const bool flat = one.distribution() == proto::DISTRIBUTION_RECTANGULAR;
      sum += one.width() * std::abs(one.sensitivity()) * (flat ? uniform() : normal());
    }
    return sum;
  }

  double rest_u(const std::string& channel) const {
    double variance = 0;
    for (const proto::Contributor& one : model::budget_of(jig_.description(), channel)->contributors()) {
      if (one.part() != proto::BUDGET_PART_METER) variance += std::pow(model::standard_uncertainty(one), 2);
    }
    return std::sqrt(variance);
  }

  std::mt19937_64 random_;
  std::normal_distribution<double> normal_{0, 1};
  std::uniform_real_distribution<double> uniform_{-1, 1};
  bool normal_meter_;
  model::Jig jig_;
  proto::Meter meter_;
  int refused_ = 0;
};

double share_held(World& world) {
  int held = 0;
  for (int i = 0; i < kJigs; ++i) held += world.one_jig_holds() ? 1 : 0;
  return held / double{kJigs};
}

// A meter whose certificate states U at k = 2: 95.45 % by the GUM, standard deviation of the count 0.66 %: 95 % +- 1.4
// % with what the seven rectangular terms of the jig add.
TEST(ThousandJigsTest, TruthLiesInsideTheStatedUncertainty) {
  World world(20260101, true);
  const double expected = world.expected_by_monte_carlo(200000);
  const double share = share_held(world);
  std::printf("1,000 virtual jigs, normal meter: %.1f %% inside U; JCGM 101 by Monte Carlo %.2f %%; %d refused\n",
              100 * share, 100 * expected, world.refused());
  EXPECT_EQ(world.refused(), 0);
  EXPECT_NEAR(expected, 0.9545, 0.01);
  EXPECT_NEAR(share, 0.954, 0.014);
}

// One rectangular bound of the meter dominates: k = 2 then covers more, and how much JCGM 101 tells beforehand.
TEST(ThousandJigsTest, RectangularMeterIsCoveredMoreAsMonteCarloSays) {
  World world(20260102, false);
  const double expected = world.expected_by_monte_carlo(200000);
  const double share = share_held(world);
  std::printf("1,000 virtual jigs, rectangular meter: %.1f %% inside U; JCGM 101 by Monte Carlo %.2f %%; %d refused\n",
              100 * share, 100 * expected, world.refused());
  EXPECT_EQ(world.refused(), 0);
  EXPECT_GT(expected, 0.9545);
  EXPECT_NEAR(share, expected, 4 * std::sqrt(expected * (1 - expected) / kJigs) + 0.001);
}

}  // namespace
}  // namespace host::calibrate
