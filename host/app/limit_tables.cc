// SPDX-License-Identifier: Apache-2.0
#include "host/app/limit_tables.h"

#include <cmath>
#include <vector>

#include <fmt/format.h>

#include "host/report/summary.h"
#include "host/report/words.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;
using Rows = std::vector<std::vector<std::string>>;

std::string table(const char* quantity, std::vector<std::string> head, Rows rows) {
  if (rows.empty()) return fmt::format("\nThis edition has no limits of {}.\n", quantity);
  head.insert(head.end(), {"status", "table", "note"});
  return "\n" + report::text_table(head, rows);
}

template <typename Row>
void origin(std::vector<std::string>& to, const Row& row) {
  to.insert(to.end(), {report::word(row.status()), row.table(), row.note()});
}

std::string millivolts(std::int64_t microvolts) {
  return fmt::format("{:g} mV", static_cast<double>(microvolts) * 1e-3);
}

/// T1 to T6 and their like.
std::string timing(const proto::LimitSet& set) {
  Rows rows;
  const auto ms = [](bool has, std::uint32_t us) { return has ? fmt::format("{:g} ms", us / 1e3) : std::string("-"); };
  for (const proto::TimingLimit& limit : set.timing()) {
    rows.push_back({report::word(limit.timing()), limit.symbol(), ms(limit.has_least_us(), limit.least_us()),
                    ms(limit.has_most_us(), limit.most_us())});
    origin(rows.back(), limit);
  }
  return table("times", {"time", "symbol", "least", "most"}, std::move(rows));
}

/// How a rail starts, and what PWR_OK does.
std::string shape(const proto::LimitSet& set) {
  Rows rows;
  if (set.has_ramp()) {
    const proto::RampLimit& ramp = set.ramp();
    rows.push_back(
        {"ramp", fmt::format("{:g} to {:g} % of nominal: {}at least {:g} % of nominal a ms over every {:g} ms",
                             100 * ramp.from_share(), 100 * ramp.to_share(), ramp.monotonic() ? "monotonic, " : "",
                             ramp.slope_least_per_s() / 10, 1e3 * ramp.segment_s())});
    origin(rows.back(), ramp);
    if (ramp.overshoot_most_share() > 0) {
      rows.push_back({"turn-on-overshoot", fmt::format("below {:g} % of nominal", 100 * ramp.overshoot_most_share()),
                      report::word(ramp.overshoot_status()), ramp.table(), ""});
    }
  }
  if (set.has_pwr_ok()) {
    const proto::PwrOkLimit& pwr_ok = set.pwr_ok();
    rows.push_back({"PWR_OK", "low at most " + millivolts(pwr_ok.low_most_uv()) + ", high at least " +
                                  millivolts(pwr_ok.high_least_uv())});
    origin(rows.back(), pwr_ok);
    if (pwr_ok.noise_most_uvpp() > 0) {
      rows.push_back({"PWR_OK noise", "at most " + millivolts(pwr_ok.noise_most_uvpp()) + " peak to peak",
                      report::word(pwr_ok.noise_status()), pwr_ok.table(), ""});
    }
  }
  if (set.has_rail_order()) {
    rows.push_back(
        {"rail-order", "+3.3V above +12V or +5V by at most " + millivolts(set.rail_order().above_most_uv())});
    origin(rows.back(), set.rail_order());
  }
  return table("start-up and PWR_OK", {"quantity", "limit"}, std::move(rows));
}

std::string ripple(const proto::LimitSet& set) {
  Rows rows;
  for (const proto::RippleLimit& limit : set.ripple()) {
    rows.push_back({limit.output(), millivolts(limit.most_uv()) + " peak to peak"});
    origin(rows.back(), limit);
  }
  return table("ripple", {"ripple of", "most"}, std::move(rows));
}

std::string step_size(const proto::TransientLimit& limit) {
  if (limit.basis() == proto::STEP_BASIS_AMPERES) return fmt::format("{:g} A", limit.step_a());
  std::string text = fmt::format("{:g} % of {}", limit.step_percent(), report::word(limit.basis()));
  if (limit.has_from_percent()) text += fmt::format(" from {:g} %", limit.from_percent());
  if (limit.has_recommended_percent()) text += fmt::format(" ({:g} % recommended)", limit.recommended_percent());
  return text;
}

/// A figure with a status of its own, where that is not the plain one.
std::string with_status(std::string figure, proto::LimitStatus status) {
  return status == proto::LIMIT_STATUS_READ ? figure : figure + " (" + report::word(status) + ")";
}

std::string slew(const proto::TransientLimit& limit) {
  if (!limit.has_slew_a_per_us()) return "-";
  std::string text = fmt::format("{:g} A/us", limit.slew_a_per_us());
  if (limit.has_slew_large_a_per_us()) {
    text += fmt::format(", {:g} above 450 W with the 600 W connector", limit.slew_large_a_per_us());
  }
  return with_status(std::move(text), limit.slew_status());
}

std::string repetition(const proto::TransientLimit& limit) {
  if (!limit.has_repetition_most_hz()) return "-";
  return with_status(fmt::format("{:g} Hz to {:g} kHz", limit.repetition_least_hz(), limit.repetition_most_hz() / 1e3),
                     limit.repetition_status());
}

std::string transient(const proto::LimitSet& set) {
  Rows rows;
  for (const proto::TransientLimit& limit : set.transient()) {
    rows.push_back({limit.output(), step_size(limit), slew(limit), repetition(limit)});
    origin(rows.back(), limit);
  }
  return table("load steps", {"load step of", "size", "slew", "repetition"}, std::move(rows));
}

std::string capacitive(const proto::LimitSet& set) {
  Rows rows;
  for (const proto::CapacitiveLoad& load : set.capacitive_load()) {
    rows.push_back({load.output(), fmt::format("{:g} uF", load.microfarads())});
    origin(rows.back(), load);
  }
  return table("capacitive load", {"capacitive load of", "stable up to"}, std::move(rows));
}

std::string excursion(const proto::LimitSet& set) {
  Rows rows;
  for (const proto::ExcursionRow& row : set.excursion()) {
    rows.push_back({std::isfinite(row.duration_s()) ? fmt::format("{:g} ms", 1e3 * row.duration_s()) : "lasting",
                    fmt::format("{:g} %", row.percent_small()), fmt::format("{:g} %", row.percent_large()),
                    report::word(row.status()), "", ""});
  }
  return table("power excursions",
               {"power excursion", "of the rating up to 450 W or without the 600 W connector", "of it above"},
               std::move(rows));
}

}  // namespace

std::string limit_tables(const proto::LimitSet& set) {
  return transient(set) + excursion(set) + ripple(set) + timing(set) + shape(set) + capacitive(set);
}

}  // namespace host::app
