// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/certificate.h"

#include <algorithm>
#include <vector>

#include <fmt/format.h>

#include "host/calibrate/channel_calibration.h"
#include "host/calibrate/meter.h"
#include "host/calibrate/plan.h"
#include "host/data/shipped.h"
#include "host/model/calibration_record.h"
#include "host/model/day.h"
#include "host/model/jig_budget.h"

namespace host::calibrate {
namespace {

namespace proto = steadyrail::proto;

constexpr unsigned kMonthsPrecise = 12;
constexpr unsigned kMonthsOther = 6;
constexpr const char* kCalibrated = "calibrated";

std::vector<proto::CalibrationPoint> points_of(const proto::CalibrationProgress& progress, const std::string& channel) {
  std::vector<proto::CalibrationPoint> out;
  for (const proto::CalibrationPoint& point : progress.points()) {
    if (point.channel() == channel) out.push_back(point);
  }
  return out;
}

void set_head(const model::Jig& jig, const proto::CalibrationProgress& progress, const std::string& due,
              proto::CalibrationCertificate& out) {
  out.set_caution(std::string(data::shipped("texts/caution.txt").value_or("")));
  out.set_simulated(progress.simulated());
  out.set_calibration_id(progress.id());
  out.set_jig_id(progress.jig_id());
  out.set_build(jig.description().build());
  out.set_date(progress.started());
  out.set_due(due);
  out.set_temperature_c(progress.temperature_c());
  out.set_meter(progress.meter().id());
  out.set_meter_uncertainty(in_words(progress.meter()));
  out.set_meter_due(progress.meter().due());
  out.set_role(progress.role());
}

/// The certificate says what the record holds, not what was rounded away.
void use_recorded(const proto::Calibration& recorded, proto::CalibrationCertificate& out) {
  for (proto::ChannelCertificate& channel : *out.mutable_channels()) {
    const auto entry = std::ranges::find(recorded.channels(), channel.channel(), &proto::ChannelCalibration::channel);
    if (entry == recorded.channels().end()) continue;
    channel.set_gain(entry->gain());
    channel.set_offset(entry->offset());
    channel.set_u_gain(entry->u_gain());
    channel.set_u_offset(entry->u_offset());
    channel.set_correlation(entry->correlation());
    channel.set_covariance(entry->correlation() * entry->u_gain() * entry->u_offset());
    channel.set_u_other(entry->u_other());
  }
}

}  // namespace

unsigned months_until_due(const proto::JigDescription& jig) {
  return jig.build() == "precise" ? kMonthsPrecise : kMonthsOther;
}

std::expected<Certified, std::string> certify(const model::Jig& jig, const proto::CalibrationProgress& progress) {
  const auto day = model::day_of(progress.started());
  if (!day) return std::unexpected(fmt::format("the calibration began on {}, which is no day", progress.started()));
  if (const auto due = model::day_of(progress.meter().due()); !due || *due < *day) {
    return std::unexpected(
        fmt::format("meter {} was due for its own calibration on {}: its readings of {} are worth nothing",
                    progress.meter().id(), progress.meter().due(), progress.started()));
  }
  Certified out;
  set_head(jig, progress, model::day_text(model::months_later(*day, progress.months())), out.certificate);
  out.jig = model::for_recording(jig.description());
  out.jig.clear_calibration();
  proto::Calibration& calibration = *out.jig.mutable_calibration();
  calibration.set_id(progress.id());
  calibration.set_jig_id(progress.jig_id());
  calibration.set_date(out.certificate.date());
  calibration.set_due(out.certificate.due());
  calibration.set_reference(progress.meter().id());
  calibration.set_temperature_c(progress.temperature_c());
  for (const model::JigChannel& channel : jig.channels()) {
    if (!comparable(channel)) continue;
    proto::ChannelCertificate found =
        calibrate_channel(jig, channel, progress.meter(), points_of(progress, channel.name), progress.class_share());
    if (found.outcome() == kCalibrated) {
      *calibration.add_channels() = entry_of(found, jig.description());
      ++out.calibrated;
    } else if (found.outcome() == "refused") {
      ++out.refused;
    }
    *out.certificate.add_channels() = std::move(found);
  }
  if (out.calibrated == 0) {
    out.jig.clear_calibration();
    return out;
  }
  if (const auto fits = model::calibration_record(out.jig); !fits) return std::unexpected(fits.error());
  calibration = model::as_recorded(out.jig);
  use_recorded(calibration, out.certificate);
  return out;
}

}  // namespace host::calibrate
