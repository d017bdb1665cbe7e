// SPDX-License-Identifier: Apache-2.0
#include "host/model/jig.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace host::model {
namespace {

using steadyrail::proto::Channel;
using steadyrail::proto::ChannelCalibration;
using steadyrail::proto::JigDescription;

std::optional<std::size_t> index_of(const JigDescription& description, const std::string& name) {
  if (name.empty()) return std::nullopt;
  for (const Channel& channel : description.channels()) {
    if (channel.name() == name) return channel.index();
  }
  return std::nullopt;
}

void apply(const ChannelCalibration& calibration, JigChannel& channel) {
  channel.calibrated = true;
  channel.calibration_lack.clear();
  channel.gain = calibration.gain();
  channel.offset = calibration.offset();
  channel.per_code *= calibration.gain();
  channel.at_code_0 = calibration.gain() * channel.at_code_0 + calibration.offset();
  channel.u_gain = calibration.u_gain();
  channel.u_offset = calibration.u_offset();
  channel.correlation = calibration.correlation();
  channel.u_other = calibration.u_other();
  channel.effective_dof = calibration.effective_dof();
  if (calibration.has_burden_ohm()) channel.burden_ohm = calibration.burden_ohm();
  channel.u_burden_ohm = calibration.u_burden_ohm();
  channel.u_converter = calibration.u_converter();
  channel.u_temperature = calibration.u_temperature();
  channel.u_age = calibration.u_age();
}

JigChannel ready(const JigDescription& description, const Channel& from) {
  JigChannel channel;
  channel.index = from.index();
  channel.name = from.name();
  channel.kind = from.kind();
  channel.rail = from.rail();
  channel.rail_label = from.rail_label().empty() ? std::string(rail_label(from.rail())) : from.rail_label();
  channel.connector = from.connector();
  channel.pole_hz.assign(from.pole_hz().begin(), from.pole_hz().end());
  channel.current = index_of(description, from.current_channel());
  channel.ground = index_of(description, from.ground_channel());
  channel.per_code = from.unit_per_code();
  channel.at_code_0 = from.unit_at_code_0();
  for (const ChannelCalibration& calibration : description.calibration().channels()) {
    if (calibration.channel() == from.name()) apply(calibration, channel);
  }
  channel.noise_rms = from.noise_code_rms() * channel.per_code;
  return channel;
}

}  // namespace

double JigChannel::delay_s() const {
  double seconds = 0;
  for (const double hz : pole_hz) seconds += 1 / (2 * std::numbers::pi * hz);
  return seconds;
}

std::expected<Jig, TextErrors> Jig::from_text(std::string_view text, std::string_view file) {
  JigDescription description;
  google::protobuf::TextFormat::ParseInfoTree tree;
  if (auto parsed = parse_text(text, file, description, &tree); !parsed) return std::unexpected(parsed.error());
  TextErrors errors = contradictions(description, Place(file, *description.GetDescriptor(), &tree));
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return Jig(std::move(description));
}

std::expected<Jig, TextErrors> Jig::from_description(const JigDescription& description, std::string_view file) {
  TextErrors errors = contradictions(description, Place(file, *description.GetDescriptor(), nullptr));
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return Jig(description);
}

Jig::Jig(JigDescription description) : description_(std::move(description)) {
  for (const Channel& channel : description_.channels()) channels_.push_back(ready(description_, channel));
  std::ranges::sort(channels_, {}, &JigChannel::index);
  places_.fill(kUnused);
  for (std::size_t place = 0; place < channels_.size(); ++place) {
    places_[channels_[place].index] = static_cast<std::uint8_t>(place);
  }
}

const JigChannel* Jig::find(std::string_view name) const {
  const auto found = std::ranges::find(channels_, name, &JigChannel::name);
  return found == channels_.end() ? nullptr : &*found;
}

void Jig::distrust(const std::string& reason) {
  if (doubt_.empty()) doubt_ = reason;
  for (JigChannel& channel : channels_) {
    if (!channel.calibrated) continue;
    channel.calibrated = false;
    channel.calibration_lack = reason;
  }
}

std::string_view rail_label(steadyrail::proto::Rail rail) {
  switch (rail) {
    case steadyrail::proto::RAIL_P12V:
      return "+12V";
    case steadyrail::proto::RAIL_P5V:
      return "+5V";
    case steadyrail::proto::RAIL_P3V3:
      return "+3.3V";
    case steadyrail::proto::RAIL_M12V:
      return "-12V";
    case steadyrail::proto::RAIL_P5VSB:
      return "+5VSB";
    default:
      return {};
  }
}

double rail_nominal_v(steadyrail::proto::Rail rail) {
  switch (rail) {
    case steadyrail::proto::RAIL_P12V:
      return 12;
    case steadyrail::proto::RAIL_P5V:
      return 5;
    case steadyrail::proto::RAIL_P3V3:
      return 3.3;
    case steadyrail::proto::RAIL_M12V:
      return -12;
    case steadyrail::proto::RAIL_P5VSB:
      return 5;
    default:
      return 0;
  }
}

}  // namespace host::model
