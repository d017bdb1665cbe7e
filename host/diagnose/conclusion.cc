// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/conclusion.h"

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "host/diagnose/advice.h"
#include "host/diagnose/findings.h"

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;
using proto::Conclusion;

/// Findings by the conclusion they speak for, in the order in which they are taken.
std::vector<std::pair<Conclusion, const std::vector<std::string>*>> ranked(const Findings& found) {
  std::vector<std::pair<Conclusion, const std::vector<std::string>*>> out;
  const std::pair<Conclusion, const std::vector<std::string>*> all[] = {
      {proto::CONCLUSION_SUPPLY_FAULTY, &found.supply},
      {proto::CONCLUSION_WIRING, &found.wiring},
      {proto::CONCLUSION_MAINS, &found.mains},
      {proto::CONCLUSION_SUPPLY_TOO_SMALL, &found.overload}};
  for (const auto& [conclusion, words] : all) {
    if (!words->empty()) out.emplace_back(conclusion, words);
  }
  return out;
}

/// A figure inside its limits that could not pass for want of exposure.
bool lacks_exposure(const proto::Verdict& verdict) {
  if (verdict.quantity() != proto::QUANTITY_STATIC && verdict.quantity() != proto::QUANTITY_DYNAMIC) return false;
  if (verdict.decision() == proto::DECISION_NOT_TESTED) return !verdict.no_occasion();
  return verdict.decision() == proto::DECISION_UNDECIDED && verdict.guard_zone() == proto::GUARD_ZONE_PASS &&
         verdict.limit_status() != proto::LIMIT_STATUS_FROM_MEMORY;
}

std::size_t count_lacking(const proto::SessionResult& result) {
  return static_cast<std::size_t>(std::ranges::count_if(result.verdicts(), lacks_exposure));
}

/// "strong" and above: the least that may decide where no check failed.
constexpr double kDecidesFrom = 100;

/// What the events before the lock-ups speak for; the kind that came first before most of them decides.
Conclusion of_events(const proto::Evidence& evidence) {
  std::size_t mains = 0;
  std::size_t wiring = 0;
  std::size_t hits = 0;
  for (const proto::LockUp& one : evidence.lock_ups()) {
    if (!one.hit()) continue;
    ++hits;
    mains += one.event().starts_with("mains-loss") ? 1 : 0;
    wiring += one.event().starts_with("contact-step") ? 1 : 0;
  }
  if (2 * mains > hits) return proto::CONCLUSION_MAINS;
  return 2 * wiring > hits ? proto::CONCLUSION_WIRING : proto::CONCLUSION_SUPPLY_FAULTY;
}

std::string words_of(const proto::Evidence& evidence) {
  const auto hits = std::ranges::count_if(evidence.lock_ups(), [](const proto::LockUp& one) { return one.hit(); });
  std::string out = fmt::format("{} of {} marked lock-ups had an event in the {:g} s before it", hits,
                                evidence.lock_ups_size(), evidence.window_s());
  if (!evidence.has_likelihood_ratio()) {
    const auto why = std::ranges::find_if(evidence.lock_ups(), [](const auto& one) { return !one.refusal().empty(); });
    return out +
           ", which could not be weighed: " + (why == evidence.lock_ups().end() ? evidence.refusal() : why->refusal());
  }
  return out + fmt::format("; likelihood ratio {:.3g} ({:.3g} to {:.3g}), {}; by chance with p = {:.2g}",
                           evidence.likelihood_ratio(), evidence.likelihood_ratio_low(),
                           evidence.likelihood_ratio_high(), evidence.strength(), evidence.p_value());
}

/// Nothing speaks for anything: the honest word for it.
Conclusion of_nothing(const proto::SessionResult& result, proto::Diagnosis& diagnosis) {
  const std::size_t lacking = count_lacking(result);
  if (result.edition().empty()) {
    diagnosis.add_rests_on("nothing was judged: no edition of limits was named");
    return proto::CONCLUSION_NOT_TESTED;
  }
  if (result.verdicts().empty()) {
    diagnosis.add_rests_on("nothing was judged: the recording does not describe a jig that can be used");
    return proto::CONCLUSION_NOT_TESTED;
  }
  if (lacking > 0) {
    diagnosis.add_rests_on(fmt::format("{} of {} checks had too little to rest on", lacking, result.verdicts_size()));
    return proto::CONCLUSION_NOT_TESTED;
  }
  diagnosis.add_rests_on(fmt::format(
      "no check failed in {:.1f} min of session, {:.2f} % of its scans seen", result.session().duration_s() / 60,
      result.coverage().scans_expected() == 0 ? 100.0
                                              : 100.0 * static_cast<double>(result.coverage().scans_seen()) /
                                                    static_cast<double>(result.coverage().scans_expected())));
  return proto::CONCLUSION_NOT_SHOWN;
}

}  // namespace

void conclude(proto::SessionResult& result, const Surroundings& surroundings, const proto::Evidence* evidence) {
  const Findings found = findings(result, surroundings.mains_watched);
  proto::Diagnosis diagnosis;
  const std::string& doubt = result.session().calibration_doubt();
  const auto ranking = doubt.empty() ? ranked(found) : decltype(ranked(found)){};
  Conclusion conclusion = proto::CONCLUSION_NOT_TESTED;
  if (!doubt.empty()) {
    diagnosis.add_rests_on("no reading of this session decides anything: " + doubt);
  } else if (ranking.empty() && evidence != nullptr && evidence->likelihood_ratio() > kDecidesFrom) {
    conclusion = of_events(*evidence);
  } else if (ranking.empty()) {
    conclusion = of_nothing(result, diagnosis);
  } else {
    conclusion = ranking.front().first;
    for (const std::string& words : *ranking.front().second) diagnosis.add_rests_on(words);
    if (ranking.size() > 1) {
      diagnosis.set_runner_up(ranking[1].first);
      for (const std::string& words : *ranking[1].second) diagnosis.add_runner_up_rests_on(words);
    }
  }
  if (evidence != nullptr) {
    if (!evidence->lock_ups().empty()) diagnosis.add_rests_on(words_of(*evidence));
    for (const std::string& words : evidence->remarks()) diagnosis.add_rests_on("of the marks: " + words);
    *diagnosis.mutable_evidence() = *evidence;
  }
  for (const std::string& words : found.remarks) diagnosis.add_rests_on(words);
  for (const proto::ShutdownRead& read : found.shutdowns) *diagnosis.add_shutdowns() = read;
  advise(conclusion, found, surroundings, diagnosis);
  result.set_conclusion(conclusion);
  *result.mutable_diagnosis() = std::move(diagnosis);
}

}  // namespace host::diagnose
