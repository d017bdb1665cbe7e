// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/meter.h"

#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "host/model/day.h"

namespace host::calibrate {
namespace {

namespace proto = steadyrail::proto;
using model::Place;
using model::TextErrors;

constexpr double kOwnK = 2;  // a calibration laboratory states its U at k = 2 (common practice)

bool zero_or_more(double value) {
  return std::isfinite(value) && value >= 0;
}

void check_range(const proto::MeterRange& range, const Place& at, TextErrors& errors) {
  if (range.unit() != "V" && range.unit() != "A") errors.push_back(at.error("unit", "a range is in \"V\" or in \"A\""));
  const std::pair<std::string_view, double> widths[] = {{"most", range.most()},
                                                        {"share_of_reading", range.share_of_reading()},
                                                        {"fixed", range.fixed()},
                                                        {"step", range.step()},
                                                        {"own_share", range.own_share()}};
  for (const auto& [field, value] : widths) {
    if (!zero_or_more(value)) errors.push_back(at.error(field, fmt::format("{} must be 0 or more", field)));
  }
  if (!(range.share_of_reading() + range.fixed() > 0)) {
    errors.push_back(at.error("a range states no uncertainty: share_of_reading, fixed or both"));
  }
  if (range.share_of_reading() > 1) {
    errors.push_back(at.error("share_of_reading", "share_of_reading is a share: 0.0005 is 0.05 %"));
  }
  const bool normal = range.distribution() == proto::DISTRIBUTION_NORMAL;
  if (!normal && range.distribution() != proto::DISTRIBUTION_RECTANGULAR) {
    errors.push_back(at.error("distribution",
                              "a bound is DISTRIBUTION_RECTANGULAR, an expanded uncertainty DISTRIBUTION_NORMAL with "
                              "its k"));
  }
  if (normal && !(range.k() >= 1 && range.k() <= 4)) {
    errors.push_back(at.error("k", "a normal uncertainty needs its coverage factor k, from 1 to 4"));
  }
}

}  // namespace

std::expected<proto::Meter, TextErrors> meter_from_text(std::string_view text, std::string_view file) {
  proto::Meter meter;
  google::protobuf::TextFormat::ParseInfoTree tree;
  if (auto parsed = model::parse_text(text, file, meter, &tree); !parsed) return std::unexpected(parsed.error());
  const Place place(file, *meter.GetDescriptor(), &tree);
  TextErrors errors;
  if (meter.id().empty()) errors.push_back(place.error("id", "the meter has no id"));
  if (!model::day_of(meter.due())) {
    errors.push_back(place.error("due", "due: the day until which the meter's own calibration holds, as 2027-03-31"));
  }
  if (meter.ranges().empty()) errors.push_back(place.error("the meter has no ranges"));
  for (int i = 0; i < meter.ranges_size(); ++i) check_range(meter.ranges(i), place.nested("ranges", i), errors);
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return meter;
}

const proto::MeterRange* range_of(const proto::Meter& meter, std::string_view unit, double reading) {
  const proto::MeterRange* found = nullptr;
  for (const proto::MeterRange& range : meter.ranges()) {
    if (range.unit() != unit || (range.most() > 0 && std::abs(reading) > range.most())) continue;
    const bool narrower = found == nullptr || found->most() == 0 || (range.most() > 0 && range.most() < found->most());
    if (narrower) found = &range;
  }
  return found;
}

std::expected<double, std::string> meter_uncertainty(const proto::Meter& meter, std::string_view unit, double reading) {
  const proto::MeterRange* range = range_of(meter, unit, reading);
  if (range == nullptr) {
    return std::unexpected(fmt::format("meter {} has no range for {:g} {}", meter.id(), reading, unit));
  }
  const double width = range->share_of_reading() * std::abs(reading) + range->fixed();
  const bool normal = range->distribution() == proto::DISTRIBUTION_NORMAL;
  const double own = range->own_share() * std::abs(reading) / kOwnK;
  return std::hypot(width / (normal ? range->k() : std::numbers::sqrt3), own, display_scatter(meter, unit, reading));
}

double display_scatter(const proto::Meter& meter, std::string_view unit, double reading) {
  const proto::MeterRange* range = range_of(meter, unit, reading);
  return range == nullptr ? 0 : range->step() / 2 / std::numbers::sqrt3;
}

std::string in_words(const proto::Meter& meter) {
  std::string out;
  for (const proto::MeterRange& range : meter.ranges()) {
    out += out.empty() ? "" : "; ";
    out += range.unit();
    if (range.most() > 0) out += fmt::format(" up to {:g}", range.most());
    out += ":";
    if (range.share_of_reading() > 0) out += fmt::format(" {:g} % of reading", 100 * range.share_of_reading());
    if (range.fixed() > 0) {
      out += fmt::format("{}{:g} {}", range.share_of_reading() > 0 ? " + " : " ", range.fixed(), range.unit());
    }
    out += range.distribution() == proto::DISTRIBUTION_NORMAL ? fmt::format(", normal, k = {:g}", range.k())
                                                              : ", one bound, rectangular";
    if (range.own_share() > 0) {
      out += fmt::format(", its own calibration {:g} % of reading at k = 2", 100 * range.own_share());
    }
  }
  return out;
}

}  // namespace host::calibrate
