// SPDX-License-Identifier: Apache-2.0
#include "host/detect/verdicts.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>

#include <fmt/format.h>

#include "host/judge/limit.h"
#include "host/judge/uncertainty.h"
#include "host/judge/verdict.h"

namespace host::detect {
namespace {

using steadyrail::proto::Decision;
using steadyrail::proto::LimitSet;
using steadyrail::proto::Quantity;
using steadyrail::proto::SessionResult;
using steadyrail::proto::Verdict;

constexpr double kSettledSamples = 320;  // of a 10 ms mean at 32 kS/s; only the noise share hangs on it
constexpr double kRangeTop = 32767;
constexpr double kBoundMostV = 2000;  // what whole microvolts in 32 bits still hold

/// How far a figure lies inside its limit; below 0: beyond it.
double slack(const Verdict& verdict) {
  return verdict.side() == "low" ? verdict.value() - verdict.limit() : verdict.limit() - verdict.value();
}

int badness(Decision decision) {
  switch (decision) {
    case Decision::DECISION_FAIL:
      return 3;
    case Decision::DECISION_UNDECIDED:
      return 2;
    case Decision::DECISION_PASS:
      return 1;
    default:
      return 0;
  }
}

class VerdictWriter {
 public:
  VerdictWriter(const model::Jig& jig, const LimitSet* limits, std::span<const judge::UnderRead> chains,
                const Seen& seen)
      : jig_(jig), limits_(limits), chains_(chains), seen_(seen) {}

  Verdict verdict(const ChannelTally& tally, Quantity quantity) const;

 private:
  Verdict side(const ChannelTally& tally, Quantity quantity, judge::Side side, const Worst& worst,
               const judge::ChannelLimit& limit) const;
  judge::Reading reading(const ChannelTally& tally, Quantity quantity, judge::Side side, const Worst& worst,
                         Verdict& verdict) const;
  bool fails_in_doubt(const ChannelTally& tally, const judge::ChannelLimit& limit) const;
  std::string lack(const ChannelTally& tally, Quantity quantity) const;

  const model::Jig& jig_;
  const LimitSet* limits_;
  std::span<const judge::UnderRead> chains_;
  const Seen& seen_;
};

std::string VerdictWriter::lack(const ChannelTally& tally, Quantity quantity) const {
  const auto& required = limits_->required();
  if (seen_.scans_share < required.scans_share()) {
    return fmt::format("{:.3f} % of scans seen, {:.3f} % required", 100 * seen_.scans_share,
                       100 * required.scans_share());
  }
  if (quantity == Quantity::QUANTITY_STATIC && tally.settled_s < required.settled_mean_s()) {
    return fmt::format("{:.2f} s of settled means, {:.2f} s required", std::floor(tally.settled_s * 100) / 100,
                       required.settled_mean_s());
  }
  const auto& steps = seen_.steps[tally.rail];
  const bool steppable = std::ranges::any_of(jig_.channels(), [&](const auto& channel) {
    return channel.kind == steadyrail::proto::CHANNEL_KIND_CURRENT && channel.rail == tally.rail;
  });
  if (quantity == Quantity::QUANTITY_DYNAMIC && steppable && std::min(steps[0], steps[1]) < required.steps_each_way()) {
    return fmt::format("{} rising and {} falling load steps of the rail, {} each way required", steps[1], steps[0],
                       required.steps_each_way());
  }
  return {};
}

judge::Reading VerdictWriter::reading(const ChannelTally& tally, Quantity quantity, judge::Side side,
                                      const Worst& worst, Verdict& verdict) const {
  const model::JigChannel& channel = *jig_.at(tally.channel);
  const double value = channel.value(worst.code);
  const double samples = quantity == Quantity::QUANTITY_STATIC ? kSettledSamples : 1;
  const judge::Expanded u = judge::expanded_uncertainty(channel, value, samples);
  judge::Reading reading;
  reading.value = model::to_microvolts(value);
  reading.expanded = model::to_microvolts(u.expanded);
  verdict.set_value(value);
  verdict.set_expanded_uncertainty(u.expanded);
  verdict.set_coverage_factor(u.k);
  if (const auto limit = judge::limit_for(*limits_, channel); limit && u.standard > 0) {
    verdict.set_probability_nonconforming(
        judge::probability_nonconforming(side, value, limit->of(side).volts(), u.standard));
  }
  if (quantity == Quantity::QUANTITY_DYNAMIC) {
    const double scans = static_cast<double>(tally.scans_on);
    reading.noise_extreme = model::to_microvolts(judge::noise_extreme_sigmas(scans) * channel.noise_rms);
    const double usual = tally.scans_on > 0 ? channel.value(tally.sum_on / scans) : value;
    const double depth = side == judge::Side::kLow ? usual - value : value - usual;
    const judge::UnderRead& chain = chains_[tally.channel];
    const auto flat = chain.bound(depth, shortest_dip_s(*limits_));
    const auto peak = hidden_by_peak(chain, worst.shape, channel.per_code);
    reading.under_read_unbounded = !flat || !peak;
    if (flat && peak) {
      const double hidden = std::max(*flat, *peak);
      reading.under_read = model::to_microvolts(std::min(hidden, kBoundMostV));
      verdict.set_bias_bound(hidden);
    }
  }
  return reading;
}

Verdict VerdictWriter::side(const ChannelTally& tally, Quantity quantity, judge::Side side, const Worst& worst,
                            const judge::ChannelLimit& limit) const {
  const model::JigChannel& channel = *jig_.at(tally.channel);
  Verdict verdict;
  const judge::Reading figure = reading(tally, quantity, side, worst, verdict);
  judge::Grounds grounds;
  grounds.calibration_lack = channel.calibration_lack;
  // A broken divider reads the top of the range: such a figure accuses the jig as much as the supply. At the bottom,
  // about 0 V on positive rails, it is a reading.
  grounds.clipped = side == judge::Side::kHigh && worst.code >= kRangeTop;
  grounds.limit_status = limit.status;
  grounds.coverage_lack = lack(tally, quantity);
  const judge::Decided decided = judge::decide(side, figure, limit.of(side), grounds);
  verdict.set_decision(decided.decision);
  verdict.set_guard_zone(decided.zone);
  verdict.set_reason(decided.reason);
  verdict.set_side(side == judge::Side::kLow ? "low" : "high");
  verdict.set_limit(limit.of(side).volts());
  verdict.set_limit_status(limit.status);
  verdict.set_source(limit.source);
  verdict.set_within_rating(judge::within_rating(worst.within));
  verdict.set_time_s(static_cast<double>(worst.at) / jig_.scan_rate_hz());
  return verdict;
}

bool VerdictWriter::fails_in_doubt(const ChannelTally& tally, const judge::ChannelLimit& limit) const {
  for (int i = 0; i < 2; ++i) {
    if (!tally.doubtful[i]) continue;
    const judge::Side here = i == 0 ? judge::Side::kLow : judge::Side::kHigh;
    const Verdict one = side(tally, Quantity::QUANTITY_DYNAMIC, here, *tally.doubtful[i], limit);
    if (one.decision() == Decision::DECISION_FAIL) return true;
  }
  return false;
}

Verdict VerdictWriter::verdict(const ChannelTally& tally, Quantity quantity) const {
  const model::JigChannel& channel = *jig_.at(tally.channel);
  const auto& figures = quantity == Quantity::QUANTITY_STATIC ? tally.settled : tally.dynamic;
  const auto limit = limits_ == nullptr ? std::nullopt : judge::limit_for(*limits_, channel);
  std::optional<Verdict> worst;
  for (int i = 0; i < 2 && limit; ++i) {
    if (!figures[i]) continue;
    const judge::Side here = i == 0 ? judge::Side::kLow : judge::Side::kHigh;
    Verdict one = side(tally, quantity, here, *figures[i], *limit);
    const bool closer = worst && badness(one.decision()) == badness(worst->decision()) && slack(one) < slack(*worst);
    if (!worst || badness(one.decision()) > badness(worst->decision()) || closer) worst = std::move(one);
  }
  Verdict verdict;
  const bool in_doubt = quantity == Quantity::QUANTITY_DYNAMIC && limit && fails_in_doubt(tally, *limit);
  if (worst && in_doubt && worst->decision() != Decision::DECISION_FAIL) {
    worst->set_decision(Decision::DECISION_UNDECIDED);
    worst->set_reason(
        "left the limit while the load was above the label; whether an excursion allowance covers it is not known");
  }
  if (worst) {
    verdict = std::move(*worst);
  } else if (limits_ == nullptr) {
    verdict.set_reason("no limit set named");
    if (figures[0]) verdict.set_value(channel.value(figures[0]->code));
  } else if (!limit) {
    verdict.set_reason("this edition has no limit for the rail");
    if (figures[0]) verdict.set_value(channel.value(figures[0]->code));
  } else {
    const bool any_outside = tally.outside[0] || tally.outside[1] || tally.doubtful[0];
    const bool stepped = quantity == Quantity::QUANTITY_DYNAMIC && (tally.stepped[0] || tally.stepped[1]);
    verdict.set_decision(stepped ? Decision::DECISION_NOT_TESTED : Decision::DECISION_UNDECIDED);
    verdict.set_reason(stepped                 ? "seen only in load steps bigger than this edition specifies"
                       : any_outside           ? "seen only outside the rating"
                       : tally.scans_on > 0    ? "no settled stretch of 10 ms"
                       : seen_.scans_share > 0 ? "the supply was never seen on"
                                               : "no scan was seen");
    verdict.set_limit(limit->low.volts());
    verdict.set_limit_status(limit->status);
    verdict.set_source(limit->source);
    verdict.set_side("low");
  }
  verdict.set_channel(channel.name);
  verdict.set_rail(channel.rail_label);
  verdict.set_quantity(quantity);
  verdict.set_unit("V");
  return verdict;
}

}  // namespace

double shortest_dip_s(const LimitSet& limits) {
  double shortest = 0;
  for (const auto& row : limits.excursion()) {
    if (row.duration_s() > 0 && (shortest == 0 || row.duration_s() < shortest)) shortest = row.duration_s();
  }
  return shortest > 0 ? shortest : 100e-6;
}

void write_verdicts(const model::Jig& jig, const LimitSet* limits, const Tally& tally,
                    std::span<const judge::UnderRead> chains, const Seen& seen, SessionResult& result) {
  const VerdictWriter writer(jig, limits, chains, seen);
  for (const ChannelTally& channel : tally.channels()) {
    *result.add_verdicts() = writer.verdict(channel, Quantity::QUANTITY_STATIC);
    *result.add_verdicts() = writer.verdict(channel, Quantity::QUANTITY_DYNAMIC);
  }
  if (limits != nullptr && !tally.channels().empty()) {
    result.add_remarks(
        fmt::format("dynamic verdicts speak for dips of {:.0f} us or longer; shorter ones may be deeper "
                    "than was read",
                    1e6 * shortest_dip_s(*limits)));
  }
  for (const ChannelTally& channel : tally.channels()) {
    for (int side = 0; side < 2 && limits != nullptr; ++side) {
      const auto limit = judge::limit_for(*limits, *jig.at(channel.channel));
      if (!limit) continue;
      const auto left_out = [&](const std::optional<Worst>& worst, const char* why) {
        if (!worst) return;
        const double value = jig.at(channel.channel)->value(worst->code);
        const bool beyond = side == 0 ? value < limit->low.volts() : value > limit->high.volts();
        if (!beyond) return;
        result.add_remarks(fmt::format(
            "{}: {:.3f} V at {:.3f} s lay beyond the limit while {}: no non-conformity, left "
            "out of the verdict",
            jig.at(channel.channel)->name, value, static_cast<double>(worst->at) / jig.scan_rate_hz(), why));
      };
      left_out(channel.outside[side], "the load was outside the rating");
      left_out(channel.stepped[side], "a load step bigger than this edition specifies was at work");
    }
  }
}

}  // namespace host::detect
