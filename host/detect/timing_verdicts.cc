// SPDX-License-Identifier: Apache-2.0
#include "host/detect/timing_verdicts.h"

#include <cmath>
#include <optional>

#include <fmt/format.h>

#include "host/detect/arm.h"
#include "host/judge/timing_limit.h"
#include "host/judge/uncertainty.h"
#include "host/judge/verdict.h"

namespace host::detect {
namespace {

using steadyrail::proto::Decision;
using steadyrail::proto::LimitSet;
using steadyrail::proto::LimitStatus;
using steadyrail::proto::Quantity;
using steadyrail::proto::Rail;
using steadyrail::proto::SessionResult;
using steadyrail::proto::Verdict;

constexpr std::uint32_t kInterruptionsLeast = 5;  // hold-up hangs on where in the cycle the mains goes; own choice
constexpr double kMonotonicSigmas = 3;            // of one reading; a fall within it is noise; own choice

/// Limits of one quantity, in its unit.
struct Bounds {
  std::optional<double> least, most;
  LimitStatus status = LimitStatus::LIMIT_STATUS_UNKNOWN;
  std::string source;
};

bool of_mains(Quantity quantity) {
  return quantity == Quantity::QUANTITY_MAINS_LOSS_TO_PWR_OK || quantity == Quantity::QUANTITY_HOLD_UP;
}

int badness(Decision decision) {
  return decision == Decision::DECISION_FAIL ? 2 : decision == Decision::DECISION_UNDECIDED ? 1 : 0;
}

class Writer {
 public:
  Writer(const model::Jig& jig, const LimitSet& limits, const TimingDesk& desk, SessionResult& result)
      : jig_(jig), limits_(limits), desk_(desk), figures_(desk.figures()), result_(result) {}

  void run() {
    for (const auto& row : limits_.timing()) {
      Bounds bounds{{}, {}, row.status(), source(row.table()) + ", " + row.symbol()};
      if (row.has_least_us()) bounds.least = row.least_us() / 1e6;
      if (row.has_most_us()) bounds.most = row.most_us() / 1e6;
      judge_all(judge::quantity_of(row.timing()), [&](const Timed&) { return bounds; });
    }
    if (limits_.has_ramp()) ramp();
    if (limits_.has_pwr_ok()) pwr_ok();
    if (limits_.has_rail_order()) rail_order();
  }

 private:
  std::string source(const std::string& table) const { return limits_.document() + ", " + table; }

  void ramp() {
    const auto& row = limits_.ramp();
    const auto nominal = [&](const Timed& timed) { return model::rail_nominal_v(jig_.at(timed.channel)->rail); };
    judge_all(Quantity::QUANTITY_RISE_SLOPE, [&](const Timed& timed) {
      return Bounds{row.slope_least_per_s() * nominal(timed) / 1e3, {}, row.status(), source(row.table())};
    });
    if (row.monotonic()) {
      judge_all(Quantity::QUANTITY_RISE_FALL_BACK, [&](const Timed& timed) {
        const double noise = kMonotonicSigmas * std::sqrt(2.0) * jig_.at(timed.channel)->noise_rms;
        // One code is the least step two readings can differ by.
        return Bounds{{}, std::max(noise, jig_.at(timed.channel)->per_code), row.status(), source(row.table())};
      });
    }
    if (row.overshoot_most_share() > 0) {
      judge_all(Quantity::QUANTITY_TURN_ON_OVERSHOOT, [&](const Timed& timed) {
        const double most = nominal(timed) + row.overshoot_most_share() * nominal(timed);
        return Bounds{{}, most, row.overshoot_status(), source(row.table())};
      });
    }
  }

  void pwr_ok() {
    const auto& row = limits_.pwr_ok();
    judge_all(Quantity::QUANTITY_PWR_OK_LOW, [&](const Timed&) {
      return Bounds{{}, static_cast<double>(row.low_most_uv()) / 1e6, row.status(), source(row.table())};
    });
    judge_all(Quantity::QUANTITY_PWR_OK_HIGH, [&](const Timed&) {
      return Bounds{static_cast<double>(row.high_least_uv()) / 1e6, {}, row.status(), source(row.table())};
    });
    if (row.noise_most_uvpp() == 0) return;
    judge_all(Quantity::QUANTITY_PWR_OK_NOISE, [&](const Timed&) {
      return Bounds{{}, static_cast<double>(row.noise_most_uvpp()) / 1e6, row.noise_status(), source(row.table())};
    });
  }

  /// Windows show a crossing of rails or do not; that there was none shorter they cannot say.
  void rail_order() {
    const auto& row = limits_.rail_order();
    const double most = static_cast<double>(row.above_most_uv()) / 1e6;
    for (const auto& [key, worst] : figures_.all()) {
      if (key.first != Quantity::QUANTITY_RAIL_ORDER || worst.most->value <= most) continue;
      add(key.second, worst, Bounds{{}, most, row.status(), source(row.table())});
    }
  }

  template <typename BoundsOf>
  void judge_all(Quantity quantity, BoundsOf bounds_of) {
    bool any = false;
    for (const auto& [key, worst] : figures_.all()) {
      if (key.first != quantity) continue;
      any = true;
      add(key.second, worst, bounds_of(*worst.least));
    }
    if (!any) not_tested(quantity, bounds_of);
  }

  template <typename BoundsOf>
  void not_tested(Quantity quantity, BoundsOf bounds_of) {
    Verdict verdict;
    verdict.set_quantity(quantity);
    verdict.set_unit(judge::unit_of(quantity));
    verdict.set_no_occasion(true);
    verdict.set_reason(missing(quantity));
    if (!jig_.channels().empty()) {
      const Bounds bounds = bounds_of(Timed{quantity, jig_.channels().front().index, 0, 0, 0, 0});
      verdict.set_limit_status(bounds.status);
      verdict.set_source(bounds.source);
    }
    *result_.add_verdicts() = verdict;
  }

  std::string missing(Quantity quantity) const {
    if (of_mains(quantity)) {
      return desk_.mains_timed() ? "no loss of mains with the supply on was seen"
                                 : "no adapter with an AC waveform: a loss of mains cannot be timed";
    }
    if (pwr_ok_channel(jig_) == nullptr) return "the jig has no PWR_OK channel";
    switch (quantity) {
      case Quantity::QUANTITY_STANDBY_START:
        return "the mains was not seen to come";
      case Quantity::QUANTITY_POWER_ON_TIME:
        if (ps_on_channel(jig_) == nullptr) return "the jig has no PS_ON# channel";
        break;
      case Quantity::QUANTITY_PWR_OK_TO_RAILS:
        return "the supply was not seen to go off by its mains or by PS_ON#";
      case Quantity::QUANTITY_RISE_SLOPE:
        return "no start was seen, or none as slow as the segment judged";
      case Quantity::QUANTITY_PWR_OK_LOW:
        return "PWR_OK was not seen low for long";
      case Quantity::QUANTITY_PWR_OK_HIGH:
      case Quantity::QUANTITY_PWR_OK_NOISE:
        return "PWR_OK was not seen high for long";
      default:
        break;
    }
    return "no start of the supply was seen";
  }

  /// Of a time the levels it runs between belong to a rail; a logic line's own edge needs no calibration of its own,
  /// but a jig that can be trusted.
  std::string calibration_lack(const Timed& timed) const {
    const auto& channel = *jig_.at(timed.channel);
    const bool own_edge =
        judge::unit_of(timed.quantity) == "s" && channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE;
    return own_edge ? jig_.doubt() : channel.calibration_lack;
  }

  /// Times: normal by the sum of their crossings. Levels as every other reading of the channel.
  judge::Expanded uncertainty(const Timed& timed) const {
    const bool level = timed.quantity == Quantity::QUANTITY_TURN_ON_OVERSHOOT ||
                       timed.quantity == Quantity::QUANTITY_PWR_OK_LOW ||
                       timed.quantity == Quantity::QUANTITY_PWR_OK_HIGH;
    if (level) return judge::expanded_uncertainty(*jig_.at(timed.channel), timed.value, 1);
    return {timed.u, 2, 2 * timed.u};
  }

  Verdict side(const Timed& timed, judge::Side side, double limit, const Bounds& bounds, std::uint32_t count) const {
    const auto micro = [](double value) { return model::to_microvolts(value); };  // of whatever unit the figure has
    const bool bare = timed.quantity == Quantity::QUANTITY_RISE_FALL_BACK;        // its limit is the uncertainty
    const judge::Expanded u = uncertainty(timed);
    judge::Reading reading;
    reading.value = micro(timed.value);
    reading.expanded = micro(bare ? 0 : u.expanded);
    // Never less than measured, but perhaps more: what passes a least passes, what fails it may not.
    (side == judge::Side::kLow ? reading.noise_extreme : reading.under_read) = micro(timed.late);
    judge::Grounds grounds;
    grounds.calibration_lack = calibration_lack(timed);
    grounds.limit_status = bounds.status;
    if (of_mains(timed.quantity) && count < kInterruptionsLeast) {
      grounds.coverage_lack = fmt::format(
          "{} interruption{} of the mains, {} required: it hangs on where in the cycle "
          "the mains goes",
          count, count == 1 ? "" : "s", kInterruptionsLeast);
    }
    const judge::Decided decided = judge::decide(side, reading, micro(limit), grounds);
    Verdict verdict;
    verdict.set_channel(jig_.at(timed.channel)->name);
    verdict.set_quantity(timed.quantity);
    verdict.set_unit(judge::unit_of(timed.quantity));
    verdict.set_value(timed.value);
    verdict.set_expanded_uncertainty(u.expanded);
    verdict.set_coverage_factor(u.k);
    verdict.set_bias_bound(timed.late);
    verdict.set_limit(limit);
    verdict.set_limit_status(bounds.status);
    verdict.set_source(bounds.source);
    verdict.set_side(side == judge::Side::kLow ? "low" : "high");
    verdict.set_decision(decided.decision);
    verdict.set_guard_zone(decided.zone);
    verdict.set_reason(decided.reason);
    if (u.standard > 0) {
      verdict.set_probability_nonconforming(judge::probability_nonconforming(side, timed.value, limit, u.standard));
    }
    verdict.set_time_s(static_cast<double>(timed.at) / jig_.scan_rate_hz());
    return verdict;
  }

  void add(Rail rail, const WorstFigures::Worst& worst, const Bounds& bounds) {
    std::optional<Verdict> shown;
    if (bounds.least) shown = side(*worst.least, judge::Side::kLow, *bounds.least, bounds, worst.count);
    if (bounds.most) {
      const Verdict high = side(*worst.most, judge::Side::kHigh, *bounds.most, bounds, worst.count);
      const auto slack = [](const Verdict& one) { return std::abs(one.limit() - one.value()); };
      const bool worse = shown && badness(high.decision()) > badness(shown->decision());
      const bool nearer =
          shown && badness(high.decision()) == badness(shown->decision()) && slack(high) < slack(*shown);
      if (!shown || worse || nearer) shown = high;
    }
    if (!shown) return;
    shown->set_rail(std::string(model::rail_label(rail)));
    if (shown->quantity() == Quantity::QUANTITY_PWR_OK_NOISE && shown->decision() != Decision::DECISION_FAIL) {
      // Defined to 20 MHz: what a jig of some kilohertz does not see it cannot pass.
      shown->set_decision(Decision::DECISION_NOT_TESTED);
      shown->set_no_occasion(true);
      shown->set_reason(
          fmt::format("{:.0f} mV peak to peak in the jig's band; more above it is not excluded", 1e3 * shown->value()));
    }
    *result_.add_verdicts() = *shown;
  }

  const model::Jig& jig_;
  const LimitSet& limits_;
  const TimingDesk& desk_;
  WorstFigures figures_;
  SessionResult& result_;
};

}  // namespace

void write_timing_verdicts(const model::Jig& jig, const LimitSet* limits, const TimingDesk& desk,
                           SessionResult& result) {
  if (limits != nullptr) Writer(jig, *limits, desk, result).run();
}

}  // namespace host::detect
