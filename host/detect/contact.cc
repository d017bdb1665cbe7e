// SPDX-License-Identifier: Apache-2.0
#include "host/detect/contact.h"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "host/detect/connector_pair.h"
#include "host/detect/output_resistance.h"
#include "host/detect/robust_fit.h"
#include "host/detect/theil_sen.h"
#include "host/judge/cable_ohm.h"
#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

using steadyrail::proto::ContactResistance;
using steadyrail::proto::FigureSource;

constexpr double kMeanSamples = 32;  // of a settled mean
constexpr double kCoverage95 = 0.95;
constexpr double kLeastLoadA = 1;  // below it an offset says nothing of a resistance; own choice

double most_of(std::span<const double> values) {
  return values.empty() ? 0 : *std::ranges::max_element(values);
}

bool moves(std::span<const double> amps) {
  if (amps.empty()) return false;
  const auto [least, most] = std::ranges::minmax(amps);
  return most - least >= kLeastSpanA;
}

/// The points of a pair from one source.
struct PairPoints {
  std::vector<double> y;
  std::vector<double> amps_a;
  std::vector<double> amps_b;
};

PairPoints points_of(const ConnectorPair& pair, steadyrail::proto::Rail rail, const PointStore& store) {
  PairPoints out;
  for (const SettledPoint& point : store.points()) {
    if (!point.has(rail_bit(rail))) continue;
    const auto value = [&](std::size_t channel) { return static_cast<double>(point.values[channel]); };
    out.y.push_back(pair.volts(value));
    out.amps_a.push_back(value(pair.current_a));
    if (pair.current_b) out.amps_b.push_back(value(*pair.current_b));
  }
  return out;
}

double expanded(const model::Jig& jig, std::size_t channel) {
  const model::JigChannel& one = *jig.at(channel);
  return judge::expanded_uncertainty(one, model::rail_nominal_v(one.rail), kMeanSamples).expanded;
}

class ContactRow {
 public:
  ContactRow(const model::Jig& jig, const ConnectorPair& pair, const steadyrail::proto::Unit* unit)
      : jig_(jig), pair_(pair), channel_(*jig.at(pair.a)), unit_(unit) {}

  ContactResistance from(const PointStore& store) const {
    ContactResistance row;
    row.set_channel(channel_.name);
    row.set_reference(jig_.at(pair_.b)->name);
    row.set_rail(channel_.rail_label);
    row.set_conductor(std::string(conductor_word(pair_.conductor)));
    row.set_current_channel(jig_.at(pair_.current_a)->name);
    row.set_unit("ohm");
    const PairPoints points = points_of(pair_, channel_.rail, store);
    row.set_points(static_cast<std::uint32_t>(points.y.size()));
    row.set_levels(static_cast<std::uint32_t>(distinct_levels(points.amps_a, kLeastPairA)));
    row.set_heat_a(most_of(points.amps_a));
    row.set_offset_bound_v(expanded(jig_, pair_.a) + expanded(jig_, pair_.b));
    row.set_excess_refusal("the resistance itself is not told");
    if (const std::string lack = too_little_spread(points.amps_a); !lack.empty()) {
      row.set_refusal(lack);
      return row;
    }
    const auto fit = fit_contact(points.y, points.amps_a, points.amps_b, row.offset_bound_v());
    if (!fit) {
      row.set_refusal("currents moved together, not separable");
      return row;
    }
    value(*fit, row);
    excess(row);
    return row;
  }

 private:
  void value(const ContactFit& fit, ContactResistance& row) const {
    const double gain = gain_u(*jig_.at(pair_.current_a), row.heat_a());
    const double half = std::hypot(judge::student_factor(kCoverage95, fit.dof) * fit.a_u, 2 * gain * fit.a_ohm);
    row.set_value(fit.a_ohm);
    row.set_interval_low(fit.a_ohm - half);
    row.set_interval_high(fit.a_ohm + half);
    row.set_offset_v(fit.offset_v);
    if (!fit.b_ohm || pair_.shared_b || pair_.conductor == Conductor::kAsymmetry) return;
    row.set_reference_value(*fit.b_ohm);
    row.set_reference_from_offset(fit.b_from_offset);
  }

  void excess(ContactResistance& row) const {
    if (pair_.conductor == Conductor::kAsymmetry) {
      row.set_excess_refusal("both plugs share one current channel: only their difference is told");
      return;
    }
    if (pair_.conductor == Conductor::kSupplyAndReturn) {
      row.set_excess_refusal("holds the shared returns too: this plug's own return is not measured");
      return;
    }
    const auto wire = judge::cable_ohm(unit_, channel_.connector, channel_.rail);
    if (!wire) {
      row.set_excess_refusal(wire.error());
      return;
    }
    row.set_excess_refusal("");
    row.set_expected(wire->expected);
    row.set_excess(row.value() - wire->expected);
    row.set_excess_low(row.interval_low() - wire->most);
    row.set_excess_high(row.interval_high() - wire->least);
    row.set_flagged(row.excess() > kExcessFlagOhm && row.excess_low() > 0);
    row.set_heat_w(std::max(row.excess(), 0.0) * row.heat_a() * row.heat_a());
  }

  const model::Jig& jig_;
  const ConnectorPair& pair_;
  const model::JigChannel& channel_;
  const steadyrail::proto::Unit* unit_;
};

}  // namespace

std::optional<ContactFit> fit_contact(std::span<const double> y, std::span<const double> amps_a,
                                      std::span<const double> amps_b, double offset_bound_v) {
  std::vector<std::vector<double>> columns{{amps_a.begin(), amps_a.end()}};
  const bool both = moves(amps_b);
  if (both) columns.emplace_back(amps_b.begin(), amps_b.end());
  if (both && condition_number(columns) > kConditionMost) return std::nullopt;
  const auto fit = robust_fit(columns, y);
  if (!fit) return std::nullopt;
  ContactFit out;
  out.a_ohm = -fit->slopes[0];
  out.a_u = fit->slopes_u[0];
  out.dof = fit->dof;
  out.offset_v = fit->constant;
  if (both) {
    out.b_ohm = fit->slopes[1];
    out.b_u = fit->slopes_u[1];
    return out;
  }
  const double amps = median_of(amps_b);
  if (amps < kLeastLoadA) return out;
  // c = 0 is all that parts the offset from B's drop: how well it is known bounds B's value.
  out.b_ohm = fit->constant / amps;
  out.b_u = std::hypot(fit->constant_u, offset_bound_v / 2) / amps;
  out.b_from_offset = true;
  return out;
}

void write_contacts(const model::Jig& jig, const SettledLevels& levels, const steadyrail::proto::Unit* unit,
                    steadyrail::proto::SessionResult& result) {
  for (const ConnectorPair& pair : connector_pairs(jig)) {
    const ContactRow row(jig, pair, unit);
    ContactResistance out = row.from(levels.chip());
    out.set_source(FigureSource::FIGURE_SOURCE_CHIP);
    if (!out.refusal().empty()) {
      ContactResistance other = row.from(levels.window());
      other.set_source(FigureSource::FIGURE_SOURCE_WINDOW);
      if (other.refusal().empty() || other.points() > out.points()) out = std::move(other);
    }
    *result.add_contact_resistances() = std::move(out);
  }
}

}  // namespace host::detect
