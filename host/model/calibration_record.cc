// SPDX-License-Identifier: Apache-2.0
#include "host/model/calibration_record.h"

#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>

#include <fmt/format.h>

#include "calibration.pb.h"
#include "host/model/day.h"
#include "proto/wire/crc32c.h"

namespace host::model {
namespace {

namespace proto = steadyrail::proto;
using Failure = std::unexpected<std::string>;

constexpr std::uint32_t kLayout = 1;
constexpr double kGainStep = 1e-9;
constexpr double kUnitStep = 1e-7;  // 0.1 uV or uA
constexpr double kCorrelationStep = 1e-4;
constexpr double kOhmStep = 1e-7;
constexpr double kMilli = 1e-3;
constexpr double kRounding = 1e-3;         // of a step: what arithmetic leaves of a whole number
constexpr std::uint32_t kDayMost = 80000;  // in the year 2189

const proto::Channel* find(const proto::JigDescription& description, const std::string& name) {
  for (const proto::Channel& channel : description.channels()) {
    if (channel.name() == name) return &channel;
  }
  return nullptr;
}

const proto::Channel* find(const proto::JigDescription& description, std::uint32_t index) {
  for (const proto::Channel& channel : description.channels()) {
    if (channel.index() == index) return &channel;
  }
  return nullptr;
}

void add(std::uint32_t& sum, const void* data, std::size_t bytes) {
  sum = wire::crc32c({static_cast<const std::byte*>(data), bytes}, sum);
}

/// What the corrections rest on: which channel, and its nominal scale.
void add_scale(const proto::Channel& channel, std::uint32_t& sum) {
  const std::array<std::uint64_t, 3> scale = {channel.index(), std::bit_cast<std::uint64_t>(channel.unit_per_code()),
                                              std::bit_cast<std::uint64_t>(channel.unit_at_code_0())};
  add(sum, scale.data(), sizeof scale);
  add(sum, channel.name().data(), channel.name().size());
}

/// Nearest whole number of steps; kept in bounds, told by `beyond`.
template <typename Whole>
Whole whole(double value, double step, bool& beyond) {
  const double steps = std::round(value / step);
  if (!(steps >= double{std::numeric_limits<Whole>::min()} && steps <= double{std::numeric_limits<Whole>::max()})) {
    beyond = true;
    return 0;
  }
  return static_cast<Whole>(steps);
}

void add_channel(const proto::ChannelCalibration& entry, bool burdens, proto::CalibrationRecord& record, bool& beyond) {
  const auto unsigned_of = [&](double value, double step) { return whole<std::uint32_t>(value, step, beyond); };
  const auto signed_of = [&](double value, double step) { return whole<std::int32_t>(value, step, beyond); };
  record.add_gain(signed_of(entry.gain() - 1, kGainStep));
  record.add_offset(signed_of(entry.offset(), kUnitStep));
  record.add_u_gain(unsigned_of(entry.u_gain(), kGainStep));
  record.add_u_offset(unsigned_of(entry.u_offset(), kUnitStep));
  record.add_correlation(signed_of(entry.correlation(), kCorrelationStep));
  // Up: it may not come out below the parts it holds.
  record.add_u_other(unsigned_of(std::ceil(entry.u_other() / kUnitStep - kRounding), 1));
  record.add_u_converter(unsigned_of(entry.u_converter(), kUnitStep));
  record.add_u_temperature(unsigned_of(entry.u_temperature(), kUnitStep));
  record.add_u_age(unsigned_of(entry.u_age(), kUnitStep));
  record.add_dof(unsigned_of(std::floor(entry.effective_dof()), 1));
  if (!burdens) return;
  record.add_burden(entry.has_burden_ohm() ? unsigned_of(entry.burden_ohm(), kOhmStep) + 1 : 0);
  record.add_u_burden(unsigned_of(entry.u_burden_ohm(), kOhmStep));
}

std::expected<proto::CalibrationRecord, std::string> record_of(const proto::JigDescription& description) {
  const proto::Calibration& calibration = description.calibration();
  const auto date = day_of(calibration.date());
  const auto due = day_of(calibration.due());
  if (!date || !due) return Failure(fmt::format("calibration {} has no date, or no due date", calibration.id()));
  proto::CalibrationRecord record;
  record.set_layout(kLayout);
  record.set_jig_id(calibration.jig_id().empty() ? description.id() : calibration.jig_id());
  record.set_reference(calibration.reference());
  record.set_date(static_cast<std::uint32_t>(*date));
  record.set_due(static_cast<std::uint32_t>(*due));
  bool beyond = false;
  record.set_temperature_mk(whole<std::int32_t>(calibration.temperature_c(), kMilli, beyond));
  bool burdens = false;
  for (const proto::ChannelCalibration& entry : calibration.channels()) burdens = burdens || entry.has_burden_ohm();
  std::uint32_t scales = 0;
  for (const proto::ChannelCalibration& entry : calibration.channels()) {
    const proto::Channel* channel = find(description, entry.channel());
    if (channel == nullptr) return Failure(fmt::format("calibration of {}, which is not there", entry.channel()));
    add_scale(*channel, scales);
    record.add_channels(channel->index());
    add_channel(entry, burdens, record, beyond);
    if (beyond) return Failure(fmt::format("channel {}: a figure beyond what the jig keeps", entry.channel()));
  }
  record.set_scales(scales);
  return record;
}

proto::ChannelCalibration entry_of(const proto::CalibrationRecord& record, int n) {
  proto::ChannelCalibration entry;
  entry.set_gain(1 + record.gain(n) * kGainStep);
  entry.set_offset(record.offset(n) * kUnitStep);
  entry.set_u_gain(record.u_gain(n) * kGainStep);
  entry.set_u_offset(record.u_offset(n) * kUnitStep);
  entry.set_correlation(record.correlation(n) * kCorrelationStep);
  entry.set_u_other(record.u_other(n) * kUnitStep);
  entry.set_u_converter(record.u_converter(n) * kUnitStep);
  entry.set_u_temperature(record.u_temperature(n) * kUnitStep);
  entry.set_u_age(record.u_age(n) * kUnitStep);
  entry.set_effective_dof(record.dof(n));
  if (record.burden_size() > 0 && record.burden(n) > 0) {
    entry.set_burden_ohm((record.burden(n) - 1) * kOhmStep);
    entry.set_u_burden_ohm(record.u_burden(n) * kOhmStep);
  }
  return entry;
}

bool columns_agree(const proto::CalibrationRecord& record) {
  const int n = record.channels_size();
  const std::array<int, 10> columns = {record.gain_size(),        record.offset_size(),        record.u_gain_size(),
                                       record.u_offset_size(),    record.correlation_size(),   record.u_other_size(),
                                       record.u_converter_size(), record.u_temperature_size(), record.u_age_size(),
                                       record.dof_size()};
  for (const int size : columns) {
    if (size != n) return false;
  }
  if (record.date() > kDayMost || record.due() > kDayMost) return false;
  const int burdens = record.burden_size();
  return n > 0 && burdens == record.u_burden_size() && (burdens == 0 || burdens == n);
}

std::expected<proto::Calibration, std::string> from_record(const std::string& id,
                                                           const proto::CalibrationRecord& record,
                                                           const proto::JigDescription& description) {
  proto::Calibration out;
  out.set_id(id);
  out.set_jig_id(record.jig_id());
  out.set_reference(record.reference());
  out.set_date(day_text(static_cast<std::int32_t>(record.date())));
  out.set_due(day_text(static_cast<std::int32_t>(record.due())));
  out.set_temperature_c(record.temperature_mk() * kMilli);
  std::uint32_t scales = 0;
  for (int n = 0; n < record.channels_size(); ++n) {
    const proto::Channel* channel = find(description, record.channels(n));
    if (channel == nullptr) {
      return Failure(
          fmt::format("calibration {} in the jig has channel index {}, which the description of jig {} has not", id,
                      record.channels(n), description.id()));
    }
    add_scale(*channel, scales);
    *out.add_channels() = entry_of(record, n);
    out.mutable_channels(n)->set_channel(channel->name());
  }
  if (scales != record.scales()) {
    return Failure(
        fmt::format("calibration {} in the jig was made by a description with other channel names or nominal "
                    "scales than this one of jig {}",
                    id, description.id()));
  }
  return out;
}

}  // namespace

std::expected<std::string, std::string> calibration_record(const proto::JigDescription& description) {
  const auto record = record_of(description);
  if (!record) return Failure(record.error());
  std::string content = record->SerializeAsString();
  if (content.size() > kCalibrationRecordBytesMax) {
    return Failure(
        fmt::format("the calibration takes {} bytes, the jig keeps {}", content.size(), kCalibrationRecordBytesMax));
  }
  return content;
}

std::expected<proto::Calibration, std::string> read_calibration_record(const std::string& id,
                                                                       std::span<const std::byte> content,
                                                                       const proto::JigDescription& description) {
  proto::CalibrationRecord record;
  if (!record.ParseFromArray(content.data(), static_cast<int>(content.size())) || !columns_agree(record)) {
    return Failure(fmt::format("calibration {} in the jig is no record of this make", id));
  }
  if (record.layout() != kLayout) {
    return Failure(
        fmt::format("calibration {} in the jig is of layout {}, this program knows {}", id, record.layout(), kLayout));
  }
  return from_record(id, record, description);
}

proto::Calibration as_recorded(const proto::JigDescription& description) {
  const auto record = record_of(description);
  if (!record) return description.calibration();
  return from_record(description.calibration().id(), *record, description).value_or(description.calibration());
}

}  // namespace host::model
