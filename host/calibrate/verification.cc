// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/verification.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <google/protobuf/util/json_util.h>

#include "host/calibrate/line_fit.h"
#include "host/calibrate/meter.h"
#include "host/calibrate/plan.h"
#include "host/judge/uncertainty.h"
#include "host/model/day.h"

namespace host::calibrate {
namespace {

namespace proto = steadyrail::proto;

constexpr double kMeterK = 2;
constexpr double kOwnPoint = 0.005;  // of the greatest level: nearer to a point of the calibration is that point
constexpr double kPredicted = 0.95;
constexpr double kDaysPerYear = 365.25;

bool at_own_point(const model::JigChannel& channel, double reference) {
  const std::vector<double> taken = levels(channel, Purpose::kCalibration);
  if (taken.empty()) return false;
  const double most = std::abs(std::ranges::max(taken, {}, [](double level) { return std::abs(level); }));
  return std::ranges::any_of(taken, [&](double level) { return std::abs(level - reference) < kOwnPoint * most; });
}

/// First whole day after `today` on which the line lies beyond the limit; the calendar's where it never does till then.
std::int32_t due_by_line(const LineFit& line, double limit, std::int32_t today, std::int32_t due_day) {
  for (std::int32_t day = today; day < due_day; ++day) {
    if (std::abs(line.at(day - today)) >= limit) return day;
  }
  return due_day;
}

}  // namespace

double e_n(double difference, double expanded_a, double expanded_b) {
  return difference / std::hypot(expanded_a, expanded_b);
}

proto::VerifiedPoint verified(const model::JigChannel& channel, const proto::Meter& meter, double reference, double jig,
                              double scans) {
  proto::VerifiedPoint out;
  out.set_channel(channel.name);
  out.set_unit(channel.kind == proto::CHANNEL_KIND_CURRENT ? "A" : "V");
  out.set_reference(reference);
  out.set_jig(jig);
  out.set_difference(jig - reference);
  out.set_outcome("refused");
  const auto meter_u = meter_uncertainty(meter, out.unit(), reference);
  if (!meter_u) {
    out.set_reason(meter_u.error());
    return out;
  }
  out.set_expanded_jig(judge::expanded_uncertainty(channel, jig, std::max(1.0, scans)).expanded);
  out.set_expanded_reference(kMeterK * *meter_u);
  out.set_e_n(e_n(out.difference(), out.expanded_jig(), out.expanded_reference()));
  if (at_own_point(channel, reference)) {
    out.set_reason("a point of the calibration itself: it proves nothing; take one between");
    return out;
  }
  out.set_outcome(std::abs(out.e_n()) <= 1 ? "pass" : "fail");
  if (out.outcome() == "fail") out.set_reason("jig and meter differ by more than both uncertainties allow");
  return out;
}

proto::ChannelDrift drift(std::span<const DriftPoint> points, double limit, std::int32_t due_day) {
  proto::ChannelDrift out;
  out.set_limit(limit);
  out.set_verifications(static_cast<std::uint32_t>(points.size()));
  out.set_due(model::day_text(due_day));
  out.set_due_cause("calendar");
  if (points.empty()) return out;
  const std::int32_t today = std::ranges::max(points, {}, &DriftPoint::day).day;
  std::vector<LinePoint> line_points;
  for (const DriftPoint& point : points) {
    line_points.push_back({.x = static_cast<double>(point.day - today), .y = point.difference});
  }
  out.set_difference(std::ranges::max(points, {}, &DriftPoint::day).difference);
  const auto line = fit_line(line_points);
  if (!line) return out;
  const double ahead = due_day - today;
  const double spread = std::hypot(line->residual_sd, line->uncertainty_at(ahead)) *
                        judge::student_factor(kPredicted, static_cast<double>(line->dof));
  out.set_per_year(line->slope * kDaysPerYear);
  out.set_u_per_year(line->u_slope * kDaysPerYear);
  out.set_predicted(line->at(ahead));
  out.set_predicted_low(line->at(ahead) - spread);
  out.set_predicted_high(line->at(ahead) + spread);
  const std::int32_t due = due_by_line(*line, limit, today, due_day);
  out.set_due(model::day_text(due));
  if (due < due_day) out.set_due_cause("drift");
  return out;
}

std::expected<proto::VerificationCertificate, std::string> read_certificate(const std::string& json) {
  proto::VerificationCertificate out;
  const auto read = google::protobuf::util::JsonStringToMessage(json, &out);
  if (!read.ok()) return std::unexpected("no certificate of a verification: " + std::string(read.message()));
  if (out.calibration_id().empty() || !model::day_of(out.date())) {
    return std::unexpected("no certificate of a verification: it names no calibration, or no date");
  }
  return out;
}

}  // namespace host::calibrate
