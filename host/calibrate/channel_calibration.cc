// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/channel_calibration.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "host/calibrate/line_fit.h"
#include "host/calibrate/meter.h"
#include "host/calibrate/residual_tests.h"
#include "host/judge/uncertainty.h"
#include "host/model/jig_budget.h"

namespace host::calibrate {
namespace {

namespace proto = steadyrail::proto;

constexpr double kPreciseShare = 0.0015;
constexpr double kPlainShare = 0.0025;
constexpr double kCurrentShare = 0.03;  // own figure: a Hall sensor of the reference jig has 1.1 % at 50 A
constexpr std::size_t kLevelsLeast = 5;
constexpr double kSameLevel = 0.02;  // of the span: nearer points are one level
constexpr double kCoverLow = 0.5;    // of a rail's nominal voltage
constexpr double kCoverHigh = 1.05;
constexpr double kGainLeast = 0.8;  // as the description's own check: beyond is a wrong divider
constexpr double kGainMost = 1.25;
// A straggler by ISO 5725-2's word at 5 %; refused only where noise hardly ever does it and U feels it.
constexpr double kRemarkChance = 0.05;
constexpr double kRefuseChance = 0.001;
constexpr double kHarmShare = 0.2;    // of U; own choice
constexpr double kMeanSamples = 320;  // 10 ms
constexpr double kCodeMost = 32767 * 0.995;

struct Work {
  const model::Jig& jig;
  const model::JigChannel& channel;
  const proto::Meter& meter;
  std::vector<LinePoint> points;
  std::vector<Direction> directions;
  proto::ChannelCertificate out;
};

proto::ChannelCertificate refused(Work& work, std::string reason) {
  work.out.set_outcome("refused");
  work.out.set_reason(std::move(reason));
  return std::move(work.out);
}

std::size_t levels_of(const std::vector<LinePoint>& points) {
  std::vector<double> values;
  for (const LinePoint& point : points) values.push_back(point.y);
  std::ranges::sort(values);
  std::size_t count = values.empty() ? 0 : 1;
  for (std::size_t i = 1; i < values.size(); ++i) {
    if (values[i] - values[i - 1] > kSameLevel * (values.back() - values.front())) ++count;
  }
  return count;
}

/// Why no line may be put through these points; empty: one may.
std::string lack(const Work& work) {
  const std::size_t levels = levels_of(work.points);
  if (levels < 2) return "all points lie at one level";
  if (levels < kLevelsLeast) {
    return fmt::format("{} different points, at least {} are needed: fewer leave nothing to check the line by", levels,
                       kLevelsLeast);
  }
  const auto up = std::ranges::count(work.directions, Direction::kUp);
  if (up < 2 || up + 2 > static_cast<std::ptrdiff_t>(work.directions.size())) return "not taken up and down";
  for (const proto::CalibrationPoint& point : work.out.points()) {
    const double code = work.channel.code(work.channel.gain * point.jig() + work.channel.offset);
    if (std::abs(code) >= kCodeMost) {
      return fmt::format("the jig reads the end of its range at {:g} {}", point.reference(), work.out.unit());
    }
    const auto u = meter_uncertainty(work.meter, work.out.unit(), point.reference());
    if (!u) return u.error();
  }
  return {};
}

/// Whether the points span what a rail is judged over.
std::string uncovered(const Work& work) {
  if (work.channel.kind != proto::CHANNEL_KIND_RAIL_VOLTAGE) return {};
  const double nominal = model::rail_nominal_v(work.channel.rail);
  double low = 2;
  double high = -2;
  for (const LinePoint& point : work.points) {
    low = std::min(low, point.y / nominal);
    high = std::max(high, point.y / nominal);
  }
  if (low <= kCoverLow && high >= kCoverHigh) return {};
  return fmt::format("the points reach from {:.0f} to {:.0f} % of {:g} V; {:.0f} to {:.0f} % is what verdicts need",
                     100 * low, 100 * high, nominal, 100 * kCoverLow, 100 * kCoverHigh);
}

std::string wrong_gain(const Work& work, double gain) {
  if (gain < 0) {
    return work.channel.kind == proto::CHANNEL_KIND_CURRENT
               ? "the reading falls as the current rises: it flows against the arrow, or the sense leads are swapped"
               : "the reading falls as the voltage rises: the leads are swapped, at the tap or at the meter";
  }
  if (gain >= kGainLeast && gain <= kGainMost) return {};
  return fmt::format(
      "a gain of {:.4g} is no correction: another channel, a wrong divider or a wrong range of the meter", gain);
}

double value_judged(const Work& work) {
  if (const proto::ChannelBudget* list = model::budget_of(work.jig.description(), work.channel.name)) {
    if (work.channel.kind == proto::CHANNEL_KIND_CURRENT) return std::min(list->at(), work.out.to());
    return list->at();
  }
  if (work.channel.kind == proto::CHANNEL_KIND_RAIL_VOLTAGE) return model::rail_nominal_v(work.channel.rail);
  return std::abs(work.out.from()) > std::abs(work.out.to()) ? work.out.from() : work.out.to();
}

double part_of(const proto::JigDescription& jig, const std::string& channel, std::optional<proto::BudgetPart> part) {
  const proto::ChannelBudget* list = model::budget_of(jig, channel);
  double variance = 0;
  if (list == nullptr) return 0;
  for (const proto::Contributor& contributor : list->contributors()) {
    const bool wanted = part ? contributor.part() == *part : contributor.part() != proto::BUDGET_PART_METER;
    if (wanted) variance += std::pow(model::standard_uncertainty(contributor), 2);
  }
  return std::sqrt(variance);
}

/// Everything the jig is wrong by besides fit, noise and meter. Nothing where the description does not say.
std::optional<double> rest_of(Work& work) {
  const proto::JigDescription& jig = work.jig.description();
  if (model::budget_of(jig, work.channel.name) != nullptr) return part_of(jig, work.channel.name, std::nullopt);
  for (const proto::ChannelCalibration& entry : jig.calibration().channels()) {
    if (entry.channel() != work.channel.name || !(entry.u_other() > 0)) continue;
    work.out.add_remarks("drift and leakage as the description claims them in one figure: it lists no contributors");
    return entry.u_other();
  }
  return std::nullopt;
}

/// Movement of a current's zero over the programme.
double self_heating(const proto::ChannelCertificate& certificate) {
  std::optional<double> cold;
  std::optional<double> warm;
  for (const proto::CalibrationPoint& point : certificate.points()) {
    const double error = point.jig() - point.reference();
    if (point.direction() == "zero-cold") cold = error;
    if (point.direction() == "zero-warm") warm = error;
  }
  return cold && warm ? std::abs(*warm - *cold) : 0;
}

void test(Work& work, const char* name, const std::expected<Tested, std::string>& tested, const std::string& speaks) {
  proto::ResidualTest& row = *work.out.add_tests();
  row.set_name(name);
  row.set_outcome("pass");
  if (!tested) {
    row.set_words("not told: " + tested.error());
    return;
  }
  row.set_statistic(tested->statistic);
  row.set_chance(tested->chance);
  row.set_effect(tested->effect);
  if (tested->chance >= kRemarkChance) return;
  const bool harmful = tested->chance < kRefuseChance && tested->effect > kHarmShare * work.out.expanded();
  row.set_outcome(harmful ? "refuse" : "remark");
  row.set_words(fmt::format("{}: {:.3g} m{}, by chance in {:.2g} of cases", speaks, 1e3 * tested->effect,
                            work.out.unit(), tested->chance));
}

void test_residuals(Work& work) {
  std::vector<std::size_t> order(work.points.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::ranges::stable_sort(order, {}, [&](std::size_t i) { return work.points[i].y; });
  std::vector<double> ascending;
  for (const std::size_t i : order) ascending.push_back(work.out.residuals(static_cast<int>(i)));
  test(work, "runs", runs_test(ascending), "residuals of one sign in a row");
  test(work, "curvature", curvature_test(work.points), "the line is bent, as by leakage or a diode that conducts");
  const auto outlier = outlier_test(work.points);
  test(work, "outlier", outlier,
       outlier ? fmt::format("point {} at {:g} {} stands out", outlier->place + 1, work.points[outlier->place].y,
                             work.out.unit())
               : "");
  test(work, "hysteresis", hysteresis_test(work.points, work.directions), "the way up and the way down differ");
}

void set_fit(Work& work, const LineFit& fit) {
  proto::ChannelCertificate& out = work.out;
  for (const double residual : residuals(fit, work.points)) out.add_residuals(residual);
  out.set_gain(fit.slope);
  out.set_offset(fit.intercept);
  out.set_u_gain(fit.u_slope);
  out.set_u_offset(fit.u_intercept);
  out.set_correlation(fit.correlation);
  out.set_covariance(fit.correlation * fit.u_slope * fit.u_intercept);
  out.set_dof(static_cast<double>(fit.dof));
  double squares = 0;
  for (const double residual : out.residuals()) squares += residual * residual;
  out.set_residual_sd(std::sqrt(squares / static_cast<double>(fit.dof)));
  out.set_at(value_judged(work));
  out.set_u_fit(fit.uncertainty_at((out.at() - fit.intercept) / fit.slope));
}

void set_expanded(Work& work) {
  model::JigChannel channel = work.channel;
  channel.gain = work.out.gain();
  channel.offset = work.out.offset();
  channel.u_gain = work.out.u_gain();
  channel.u_offset = work.out.u_offset();
  channel.correlation = work.out.correlation();
  channel.effective_dof = work.out.dof();
  channel.u_other = work.out.u_other();
  channel.u_converter = channel.u_temperature = channel.u_age = 0;
  const judge::Expanded u = judge::expanded_uncertainty(channel, work.out.at(), kMeanSamples);
  work.out.set_expanded(u.expanded);
  work.out.set_k(u.k);
}

/// Empty: within the class.
std::string beyond_class(const Work& work) {
  const proto::ChannelCertificate& out = work.out;
  const double most = out.class_share() * std::abs(out.at());
  if (out.class_share() == 0 || out.expanded() <= most) return {};
  const double meter_share = std::pow(out.u_meter() * out.k() / out.expanded(), 2);
  return fmt::format(
      "U is {:.3g} m{} at {:g} {}, {:.2g} %; the class claimed allows {:.3g} % ({:.3g} m{}). The meter alone makes "
      "{:.0f} % of "
      "the variance",
      1e3 * out.expanded(), out.unit(), out.at(), out.unit(), 100 * out.expanded() / std::abs(out.at()),
      100 * out.class_share(), 1e3 * most, out.unit(), 100 * meter_share);
}

void take_points(Work& work, std::span<const proto::CalibrationPoint> points) {
  double least = 0;
  double most = 0;
  for (const proto::CalibrationPoint& point : points) {
    *work.out.add_points() = point;
    const double display = display_scatter(work.meter, work.out.unit(), point.reference());
    const double noise = point.scans() > 0 ? point.jig_sd() / std::sqrt(point.scans()) : 0;
    const double quantum = std::abs(work.channel.per_code) / std::sqrt(12.0);
    const double u = std::hypot(display, noise, quantum);
    work.points.push_back({.x = point.jig(), .y = point.reference(), .weight = 1 / (u * u)});
    const bool down = point.direction() == "down" || point.direction() == "zero-warm";
    work.directions.push_back(down ? Direction::kDown : Direction::kUp);
    const bool first = work.points.size() == 1;
    least = first ? point.reference() : std::min(least, point.reference());
    most = first ? point.reference() : std::max(most, point.reference());
  }
  work.out.set_from(least);
  work.out.set_to(most);
}

double class_of(const model::JigChannel& channel, double share) {
  if (channel.kind == proto::CHANNEL_KIND_RAIL_VOLTAGE) return share;
  return channel.kind == proto::CHANNEL_KIND_CURRENT ? kCurrentShare : 0;
}

}  // namespace

double class_share(const proto::JigDescription& jig) {
  return jig.build() == "precise" ? kPreciseShare : kPlainShare;
}

proto::ChannelCertificate calibrate_channel(const model::Jig& jig, const model::JigChannel& channel,
                                            const proto::Meter& meter, std::span<const proto::CalibrationPoint> points,
                                            double class_share) {
  Work work{.jig = jig, .channel = channel, .meter = meter, .points = {}, .directions = {}, .out = {}};
  proto::ChannelCertificate& out = work.out;
  out.set_channel(channel.name);
  out.set_output(channel.rail_label);
  out.set_connector(channel.connector);
  out.set_unit(channel.kind == proto::CHANNEL_KIND_CURRENT ? "A" : "V");
  out.set_class_share(class_of(channel, class_share));
  out.set_outcome("uncalibrated");
  out.set_reason("no reference readings");
  if (points.empty()) return std::move(out);
  take_points(work, points);
  if (std::string reason = lack(work); !reason.empty()) return refused(work, std::move(reason));
  const auto fit = fit_line(work.points);
  if (!fit) return refused(work, fit.error());
  set_fit(work, *fit);
  if (std::string reason = wrong_gain(work, fit->slope); !reason.empty()) return refused(work, std::move(reason));
  if (std::string reason = uncovered(work); !reason.empty()) return refused(work, std::move(reason));
  const auto meter_u = meter_uncertainty(meter, out.unit(), out.at());
  if (!meter_u) return refused(work, meter_u.error());
  const auto rest = rest_of(work);
  if (!rest) return refused(work, "the description lists no contributors: what drift and leakage add is not known");
  out.set_u_meter(*meter_u);
  out.set_u_self_heating(self_heating(out) / std::numbers::sqrt3);
  out.set_u_other(std::hypot(*meter_u, out.u_self_heating(), *rest));
  set_expanded(work);
  test_residuals(work);
  if (std::string reason = beyond_class(work); !reason.empty()) return refused(work, std::move(reason));
  for (const proto::ResidualTest& row : out.tests()) {
    if (row.outcome() == "refuse") return refused(work, row.words());
    if (row.outcome() == "remark") out.add_remarks(row.words());
  }
  out.set_outcome("calibrated");
  out.clear_reason();
  return std::move(out);
}

proto::ChannelCalibration entry_of(const proto::ChannelCertificate& certificate, const proto::JigDescription& jig) {
  proto::ChannelCalibration entry;
  entry.set_channel(certificate.channel());
  entry.set_gain(certificate.gain());
  entry.set_offset(certificate.offset());
  entry.set_u_gain(certificate.u_gain());
  entry.set_u_offset(certificate.u_offset());
  entry.set_correlation(certificate.correlation());
  entry.set_effective_dof(certificate.dof());
  entry.set_u_other(certificate.u_other());
  entry.set_u_converter(part_of(jig, certificate.channel(), proto::BUDGET_PART_CONVERTER));
  entry.set_u_temperature(part_of(jig, certificate.channel(), proto::BUDGET_PART_TEMPERATURE));
  entry.set_u_age(part_of(jig, certificate.channel(), proto::BUDGET_PART_AGE));
  for (const proto::ChannelCalibration& before : jig.calibration().channels()) {
    if (before.channel() != certificate.channel() || !before.has_burden_ohm()) continue;
    entry.set_burden_ohm(before.burden_ohm());
    entry.set_u_burden_ohm(before.u_burden_ohm());
  }
  return entry;
}

}  // namespace host::calibrate
