// SPDX-License-Identifier: Apache-2.0
// Events of the book as results: seconds, uncertainties and the decision on each extreme.
#include <algorithm>

#include "host/detect/review_state.h"
#include "host/detect/verdicts.h"
#include "host/judge/limit.h"
#include "host/judge/uncertainty.h"
#include "host/judge/verdict.h"

namespace host::detect {
namespace {

using steadyrail::proto::EventKind;
using steadyrail::proto::EventResult;

constexpr double kMeanSamples = 32;   // levels before and after a step are means of a millisecond
constexpr double kBoundMostV = 2000;  // what whole microvolts in 32 bits still hold

/// Decision on an event's extreme: the depth hidden by the chain after its width, noise after all that was seen.
void judge_extreme(const Session& session, const Found& found, EventResult& event) {
  const model::JigChannel& channel = *session.jig.at(found.channel);
  const auto limit = session.limits ? judge::limit_for(*session.limits, channel) : std::nullopt;
  if (!limit) return;
  judge::Reading reading;
  reading.value = model::to_microvolts(found.extreme);
  reading.expanded = model::to_microvolts(event.expanded_uncertainty_v());
  const double scans = static_cast<double>(session.tally.scans_seen());
  reading.noise_extreme = model::to_microvolts(judge::noise_extreme_sigmas(scans) * channel.noise_rms);
  const judge::UnderRead& chain = session.chains[found.channel];
  // Scans of many excursions say nothing of the width of the deepest.
  const auto flat = found.kind == EventKind::EVENT_KIND_DROOP
                        ? chain.bound(found.depth, shortest_dip_s(*session.limits))
                        : chain.bound_of_samples(found.depth, found.storm_excursions > 0 ? 0 : found.beyond_scans);
  const auto peak = hidden_by_peak(chain, found.shape, channel.per_code);
  reading.under_read_unbounded = !flat || !peak;
  if (flat && peak) {
    const double hidden = std::max(*flat, *peak);
    reading.under_read = model::to_microvolts(std::min(hidden, kBoundMostV));
    event.set_bias_bound_v(hidden);
  }
  judge::Grounds grounds;
  grounds.calibration_lack = channel.calibration_lack;
  grounds.clipped = found.clipped;
  grounds.limit_status = limit->status;
  judge::Decided decided = judge::decide(found.side, reading, limit->of(found.side), grounds);
  if (found.within == steadyrail::proto::WITHIN_RATING_NO && decided.decision != steadyrail::proto::DECISION_PASS) {
    decided = {.decision = steadyrail::proto::DECISION_NOT_TESTED,
               .zone = decided.zone,
               .reason = "the load was outside the rating, where the limit does not hold: no non-conformity"};
  } else if (found.within_step == steadyrail::proto::WITHIN_STEP_NO &&
             decided.decision != steadyrail::proto::DECISION_PASS) {
    decided = {.decision = steadyrail::proto::DECISION_NOT_TESTED,
               .zone = decided.zone,
               .reason = "a load step bigger than this edition specifies was at work: no non-conformity"};
  }
  event.set_decision(decided.decision);
  event.set_guard_zone(decided.zone);
  const double standard = judge::expanded_uncertainty(channel, found.extreme, 1).standard;
  if (channel.calibrated && standard > 0) {
    event.set_probability_nonconforming(
        judge::probability_nonconforming(found.side, found.extreme, limit->of(found.side).volts(), standard));
  }
  if (!decided.reason.empty()) event.set_note(found.note.empty() ? decided.reason : found.note + "; " + decided.reason);
}

void set_optional(const Found& found, EventResult& event) {
  if (found.step_a) event.set_step_a(*found.step_a);
  if (found.deviation) event.set_deviation_v(*found.deviation);
  if (found.undershoot) event.set_undershoot_v(*found.undershoot);
  if (found.settled_shift) event.set_settled_shift_v(*found.settled_shift);
  if (found.minimum_s) event.set_time_to_minimum_s(*found.minimum_s);
  if (found.recovery_s) event.set_recovery_s(*found.recovery_s);
  if (found.explained) event.set_explained(*found.explained);
  if (found.retained) event.set_retained(*found.retained);
  if (found.resistance_step_ohm) event.set_resistance_step_ohm(*found.resistance_step_ohm);
  if (found.resistance_step_u_ohm) event.set_resistance_step_u_ohm(*found.resistance_step_u_ohm);
  if (found.slew) {
    event.set_slew_a_per_s(found.slew->a_per_s);
    event.set_slew_at_least(found.slew->at_least);
  }
  event.set_within_step(found.within_step);
  if (found.specified_step_a) event.set_specified_step_a(*found.specified_step_a);
  event.set_load_corrected(found.load_corrected);
  event.set_storm_excursions(found.storm_excursions);
}

/// What the figures of a droop are worth: both levels read by one channel a few milliseconds apart.
void set_droop_uncertainty(const Session& session, const Found& found, EventResult& event) {
  const model::JigChannel& channel = *session.jig.at(found.channel);
  if (!channel.calibrated) return;
  const auto expanded = [&](double difference, double samples) {
    return judge::difference_uncertainty(channel, found.extreme, difference, kMeanSamples, samples).expanded;
  };
  if (found.deviation) event.set_deviation_uncertainty_v(expanded(*found.deviation, 1));
  if (found.settled_shift) event.set_settled_shift_uncertainty_v(expanded(*found.settled_shift, kMeanSamples));
  if (found.minimum_s) event.set_time_uncertainty_s(0.5 / session.jig.scan_rate_hz());
  const auto hidden = hidden_by_peak(session.chains[found.channel], found.shape, channel.per_code);
  if (hidden) event.set_bias_bound_v(*hidden);
}

/// Kinds that tell of times; they have no extreme of a voltage.
bool is_timed(EventKind kind) {
  switch (kind) {
    case EventKind::EVENT_KIND_TIMING:
    case EventKind::EVENT_KIND_SEQUENCE:
    case EventKind::EVENT_KIND_SHUTDOWN:
    case EventKind::EVENT_KIND_LINE_PULSE:
    case EventKind::EVENT_KIND_MAINS_LOSS:
      return true;
    default:
      return false;
  }
}

EventResult event_of(const Session& session, const Found& found) {
  const model::JigChannel& channel = *session.jig.at(found.channel);
  const double rate = session.jig.scan_rate_hz();
  EventResult event;
  event.set_event_id(found.id);
  event.set_kind(found.kind);
  event.set_channel(channel.name);
  event.set_rail(channel.rail_label);
  event.set_start_s((static_cast<double>(found.start) + found.start_s_offset) / rate);
  event.set_start_uncertainty_s(found.start_u_scans / rate);
  event.set_duration_s(found.duration_scans / rate);
  event.set_duration_uncertainty_s(found.duration_u_scans / rate);
  event.set_source(found.source);
  event.set_within_rating(found.within);
  event.set_truncated(found.truncated);
  event.set_note(found.note);
  set_optional(found, event);
  for (const auto& figure : found.figures) *event.add_figures() = figure;
  event.set_first(found.first);
  event.set_rails_held(found.rails_held);
  if (found.load_share) event.set_load_share(*found.load_share);
  if (found.load_share_most) event.set_load_share_most(*found.load_share_most);
  if (found.kind == EventKind::EVENT_KIND_LOAD_STEP || is_timed(found.kind)) return event;
  event.set_extreme_v(found.extreme);
  event.set_expanded_uncertainty_v(judge::expanded_uncertainty(channel, found.extreme, 1).expanded);
  event.set_depth_v(found.depth);
  if (found.area_vs) event.set_area_vs(*found.area_vs);
  event.set_side(found.side == judge::Side::kLow ? "low" : "high");
  event.set_scans_beyond(static_cast<std::uint32_t>(std::min(found.beyond_scans, 4e9)));
  if (found.kind == EventKind::EVENT_KIND_DROOP) set_droop_uncertainty(session, found, event);
  if (found.judged) judge_extreme(session, found, event);
  return event;
}

}  // namespace

void write_events(const Session& session, steadyrail::proto::SessionResult& result) {
  for (const Found* found : session.book.by_time()) *result.add_events() = event_of(session, *found);
  for (const EventBook::Count& count : session.book.counts()) {
    auto* to = result.add_event_counts();
    to->set_kind(count.kind);
    to->set_channel(session.jig.at(count.channel)->name);
    to->set_listed(count.listed);
    to->set_counted(count.counted);
    to->mutable_short_by_scans()->Add(count.short_by_scans.begin(), count.short_by_scans.end());
    if (count.kind != EventKind::EVENT_KIND_SAG) continue;
    for (const SagDesk::Count& sags : session.sags.counts()) {
      if (sags.channel == count.channel) to->set_unexplained(sags.unexplained);
    }
  }
}

}  // namespace host::detect
