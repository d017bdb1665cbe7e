// SPDX-License-Identifier: Apache-2.0
// Whether a calibration still holds: other points, another day; and how long it will.
#pragma once

#include <cstdint>
#include <expected>
#include <span>
#include <string>
#include <vector>

#include "calibration.pb.h"
#include "host/model/jig.h"

namespace host::calibrate {

/// Difference over the root of the sum of both expanded uncertainties squared; agreement is |E_n| <= 1 (ISO 13528,
/// ISO/IEC 17043: both from memory).
double e_n(double difference, double expanded_a, double expanded_b);

/// One comparison of a calibrated channel, both with U at about 95 %. "refused": the meter has no range for it, or the
/// reading lies where the calibration took one. `jig`: by the calibration, a mean of `scans`.
steadyrail::proto::VerifiedPoint verified(const model::JigChannel& channel, const steadyrail::proto::Meter& meter,
                                          double reference, double jig, double scans);

/// Jig less reference at one point, on a day since 1970.
struct DriftPoint {
  std::int32_t day = 0;
  double difference = 0;
};

/// Straight line through the differences, `points` in any order, with the prediction for the calendar's due day and its
/// 95 % interval (Student's t over the scatter and the line's own uncertainty). Due when the prediction reaches
/// `limit` either way, and never later than `due_day`; fewer than three points on different days make no line.
steadyrail::proto::ChannelDrift drift(std::span<const DriftPoint> points, double limit, std::int32_t due_day);

/// What a verification's file of JSON says. Error: no such certificate.
std::expected<steadyrail::proto::VerificationCertificate, std::string> read_certificate(const std::string& json);

}  // namespace host::calibrate
