// SPDX-License-Identifier: Apache-2.0
#include "host/report/answer.h"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/report/happenings.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

constexpr std::size_t kPlacesMax = 3;    // in the headline
constexpr std::size_t kFindingsMax = 6;  // in the answer; the tables hold all

/// How far a value lies beyond its limit, as a share of the limit; negative inside.
double beyond(const proto::Verdict& verdict) {
  if (verdict.limit() == 0) return 0;
  // A low limit of a negative rail is its more negative one: "low" and "high" stand for the numbers, not the sizes.
  const double distance =
      verdict.side() == "high" ? verdict.value() - verdict.limit() : verdict.limit() - verdict.value();
  return distance / std::abs(verdict.limit());
}

/// Ripple below the limit in the jig's own band: the jig can only fail it, so nothing is missing.
bool excludes_nothing(const proto::Verdict& verdict) {
  return verdict.quantity() == proto::QUANTITY_RIPPLE && verdict.decision() == proto::DECISION_NOT_TESTED;
}

bool of_voltage(const proto::Verdict& verdict) {
  return verdict.quantity() == proto::QUANTITY_STATIC || verdict.quantity() == proto::QUANTITY_DYNAMIC;
}

/// "+12V at graphics-1", or "rise-time of +12V at graphics-1".
std::string subject(const proto::Verdict& verdict) {
  const std::string where = place(verdict.rail(), verdict.channel());
  if (of_voltage(verdict)) return where;
  return verdict.rail().empty() ? word(verdict.quantity()) : fmt::format("{} of {}", word(verdict.quantity()), where);
}

std::string finding(const proto::Verdict& verdict) {
  if (verdict.quantity() == proto::QUANTITY_RIPPLE) {
    return fmt::format("{} ripples by at least {} in the jig's band alone; the most allowed is {}.",
                       place(verdict.rail(), verdict.channel()),
                       with_uncertainty(verdict.value(), verdict.expanded_uncertainty(), verdict.unit()),
                       figure(verdict.limit(), 3, verdict.unit()));
  }
  const bool high = verdict.side() == "high";
  const bool settled = verdict.quantity() == proto::QUANTITY_STATIC;
  const char* did = !of_voltage(verdict) ? "was" : settled ? "settled at" : high ? "rose to" : "fell to";
  std::string text = fmt::format("{} {} {}", subject(verdict), did,
                                 quantity(verdict.value(), verdict.expanded_uncertainty(), verdict.unit()));
  if (!settled) text += fmt::format(", {} into the session", time_span(verdict.time_s()));
  text += fmt::format("; the {} allowed is {}.", high ? "most" : "least", quantity(verdict.limit(), 0, verdict.unit()));
  if (verdict.within_rating() == proto::WITHIN_RATING_NO) {
    text += " The load was above the unit's rating at that moment.";
  }
  return text;
}

/// Verdicts of one decision, the farthest beyond its limit first; equal ones in the order of the result.
std::vector<const proto::Verdict*> decided(const proto::SessionResult& result, proto::Decision decision) {
  std::vector<std::pair<double, int>> order;
  for (int i = 0; i < result.verdicts_size(); ++i) {
    if (result.verdicts(i).decision() == decision) order.emplace_back(-beyond(result.verdicts(i)), i);
  }
  std::ranges::sort(order);
  std::vector<const proto::Verdict*> out;
  out.reserve(order.size());
  for (const auto& [distance, index] : order) out.push_back(&result.verdicts(index));
  return out;
}

/// "+12V at graphics-1, +5V at main-5v and 3 more", each place once, worst first.
std::string failing_places(const proto::SessionResult& result) {
  std::vector<std::string> places;
  for (const proto::Verdict* verdict : decided(result, proto::DECISION_FAIL)) {
    const std::string where = subject(*verdict);
    if (std::ranges::find(places, where) == places.end()) places.push_back(where);
  }
  std::string out;
  for (std::size_t i = 0; i < std::min(places.size(), kPlacesMax); ++i) out += (i == 0 ? "" : ", ") + places[i];
  if (places.size() > kPlacesMax) out += fmt::format(" and {} more", places.size() - kPlacesMax);
  return out;
}

std::string headline(const proto::SessionResult& result, const Tally& count) {
  const std::string where = fmt::format("under {}", result.edition());
  if (result.has_coverage() && result.coverage().scans_seen() == 0) {
    return "Nothing was measured: no scan arrived from the jig.";
  }
  if (const std::string& doubt = result.session().calibration_doubt(); !doubt.empty()) {
    return fmt::format("No reading of this session decides anything: {}.", doubt);
  }
  if (count.all() == 0 || count.not_tested == count.all()) {
    return result.edition().empty() ? "Nothing was judged: no limit edition was named."
                                    : fmt::format("Nothing could be judged {}.", where);
  }
  if (count.fail > 0) return fmt::format("Out of limits {}: {}.", where, failing_places(result));
  if (count.undecided > 0) {
    return fmt::format("Nothing failed {}, but {} of {} could not be decided.", where, count.undecided,
                       counted(count.all(), "check"));
  }
  if (count.not_tested > 0) {
    return fmt::format("Nothing failed {}, but {} of {} could not be tested.", where, count.not_tested,
                       counted(count.all(), "check"));
  }
  return fmt::format("Within limits: {} passed {}.", counted(count.all(), "check"), where);
}

void add_findings(const proto::SessionResult& result, const Tally& count, std::vector<std::string>& found) {
  found = happenings(result).found;
  const auto failed = decided(result, proto::DECISION_FAIL);
  for (std::size_t i = 0; i < std::min(failed.size(), kFindingsMax); ++i) found.push_back(finding(*failed[i]));
  if (failed.size() > kFindingsMax) {
    found.push_back(fmt::format("{} failed besides; the table of verdicts has them.",
                                counted(failed.size() - kFindingsMax, "check")));
  }
  if (count.all() > 0 && !result.edition().empty()) {
    found.push_back(fmt::format("{}: {} passed, {} failed, {} undecided, {} not tested.", counted(count.all(), "check"),
                                count.pass, count.fail, count.undecided, count.not_tested));
  }
  for (const proto::ContactResistance& contact : result.contact_resistances()) {
    if (!contact.flagged()) continue;
    found.push_back(
        fmt::format("Cable or contact of {}: {:.1f} mohm, {:.1f} mohm more than its wire and contacts should have; "
                    "{:.1f} W of heat "
                    "at {:.1f} A.",
                    place(contact.rail(), contact.channel()), 1e3 * contact.value(), 1e3 * contact.excess(),
                    contact.heat_w(), contact.heat_a()));
  }
  for (const proto::ReturnDrop& drop : result.return_drops()) {
    if (!drop.flagged()) continue;
    found.push_back(
        fmt::format("Return of {}: {:.1f} mV at {:.1f} A; {:.2f} mohm of their load, where wires and "
                    "contacts explain {:.2f} mohm at most.",
                    fmt::join(drop.connectors(), ", "), 1e3 * drop.value(), drop.load_a(), 1e3 * drop.slope(),
                    1e3 * drop.expected_most()));
  }
  std::map<proto::EventKind, unsigned long long> kinds;
  for (const proto::EventCount& kind : result.event_counts()) kinds[kind.kind()] += kind.listed() + kind.counted();
  if (result.event_counts().empty()) {
    for (const proto::EventResult& event : result.events()) ++kinds[event.kind()];
  }
  std::string list;
  for (const auto& [kind, events] : kinds) {
    list += (list.empty() ? "" : ", ") + counted(events, word(kind));
  }
  const bool whole = result.coverage().scans_seen() >= result.coverage().scans_expected();
  if (!list.empty()) {
    found.push_back(fmt::format("Seen: {}.", list));
  } else {
    found.push_back(fmt::format("No events were seen in the {} of the scans that arrived{}.",
                                percent_of(result.coverage().scans_seen(), result.coverage().scans_expected()),
                                whole ? "" : "; the rest is unknown"));
  }
}

void add_surety(const proto::SessionResult& result, std::vector<std::string>& sure) {
  const proto::Coverage& coverage = result.coverage();
  sure.push_back(fmt::format("{} of {} were seen over {}; {} in the record.",
                             percent_of(coverage.scans_seen(), coverage.scans_expected()),
                             counted(coverage.scans_expected(), "scan"), time_span(result.session().duration_s()),
                             counted(coverage.gaps_total(), "gap")));
  if (coverage.scans_clipped() > 0) {
    sure.push_back(fmt::format("{} lay at the end of the converter's range: there the value is a bound only.",
                               counted(coverage.scans_clipped(), "scan")));
  }
  sure.push_back(
      "A check passes or fails only when the value clears the limit by the whole expanded uncertainty (k = 2, about "
      "95 %); anything nearer is undecided.");
  if (std::ranges::any_of(result.verdicts(), [](const proto::Verdict& verdict) {
        return verdict.limit_status() == proto::LIMIT_STATUS_FROM_MEMORY;
      })) {
    sure.push_back("Some limits were written down from memory; none of these fails a unit by itself.");
  }
  if (result.session().calibration_id().empty()) sure.push_back("The jig names no calibration.");
}

void add_open_points(const proto::SessionResult& result, std::vector<std::string>& open) {
  for (const std::string& words : result.diagnosis().does_not_exclude()) {
    open.push_back(fmt::format("Not excluded: {}.", words));
  }
  for (const std::string& words : result.diagnosis().would_change_it()) {
    open.push_back(fmt::format("What would change the conclusion: {}.", words));
  }
  std::map<std::string, int> reasons;
  std::string without_occasion;
  for (const proto::Verdict& verdict : result.verdicts()) {
    if (!is_counted(verdict)) {
      without_occasion += (without_occasion.empty() ? "" : ", ") + word(verdict.quantity());
      continue;
    }
    const bool undecided = verdict.decision() == proto::DECISION_UNDECIDED;
    if (!undecided && verdict.decision() != proto::DECISION_NOT_TESTED) continue;
    const std::string why = verdict.reason().empty() ? "no reason recorded" : verdict.reason();
    ++reasons[fmt::format("{}: {}", undecided ? "Undecided" : "Not tested", why)];
  }
  for (const auto& [reason, checks] : reasons)
    open.push_back(fmt::format("{} ({}).", reason, counted(checks, "check")));
  if (!without_occasion.empty()) {
    open.push_back(fmt::format("Not tested, for want of an occasion or of means: {}.", without_occasion));
  }
  open.push_back(
      "Ripple and noise up to 20 MHz, dips shorter than about 60 µs in their true depth, and voltages at the "
      "chips were not tested.");
}

}  // namespace

std::string place(const std::string& rail, const std::string& channel) {
  if (rail.empty()) return channel;
  return channel.empty() ? rail : fmt::format("{} at {}", rail, channel);
}

bool is_counted(const proto::Verdict& verdict) {
  return !verdict.no_occasion();
}

bool has_value(const proto::Verdict& verdict) {
  const bool bound = verdict.quantity() == proto::QUANTITY_RIPPLE;  // a figure even where it decides nothing
  return (bound || verdict.decision() != proto::DECISION_NOT_TESTED) && verdict.expanded_uncertainty() > 0;
}

Tally tally(const proto::SessionResult& result) {
  Tally count;
  for (const proto::Verdict& verdict : result.verdicts()) {
    if (!is_counted(verdict) || excludes_nothing(verdict)) continue;
    switch (verdict.decision()) {
      case proto::DECISION_PASS:
        ++count.pass;
        break;
      case proto::DECISION_FAIL:
        ++count.fail;
        break;
      case proto::DECISION_UNDECIDED:
        ++count.undecided;
        break;
      default:
        ++count.not_tested;
    }
  }
  return count;
}

void add_conclusion(const proto::SessionResult& result, Answer& out) {
  const proto::Diagnosis& diagnosis = result.diagnosis();
  if (!result.has_diagnosis()) return;
  out.conclusion = fmt::format("Conclusion: {}. {}", word(result.conclusion()), diagnosis.plain_words());
  out.rests_on.assign(diagnosis.rests_on().begin(), diagnosis.rests_on().end());
  if (diagnosis.has_runner_up()) {
    out.rests_on.push_back(fmt::format("Next after it comes {}: {}", word(diagnosis.runner_up()),
                                       fmt::join(diagnosis.runner_up_rests_on(), "; ")));
  }
  out.next_steps.assign(diagnosis.next_steps().begin(), diagnosis.next_steps().end());
}

Answer answer(const proto::SessionResult& result) {
  const Tally count = tally(result);
  Answer out;
  out.headline = happenings(result).headline;
  out.headline += (out.headline.empty() ? "" : " ") + headline(result, count);
  const std::string& question = result.session().question();
  out.asked = question.empty() ? "No question was recorded with this session." : question;
  add_conclusion(result, out);
  add_findings(result, count, out.found);
  add_surety(result, out.how_sure);
  add_open_points(result, out.not_tested);
  return out;
}

int exit_code(const proto::SessionResult& result) {
  const Tally count = tally(result);
  if (count.fail > 0) return 1;
  return count.all() > 0 && count.pass == count.all() ? 0 : 4;
}

}  // namespace host::report
