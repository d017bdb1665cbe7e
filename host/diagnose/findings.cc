// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/findings.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/diagnose/signature.h"

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;

// A rail may leave its limits this long after the mains went: hold-up is 16 ms and more, PWR_OK falls at least 1 ms
// before the rails, and bulk capacitors of a lightly loaded unit last for seconds; common practice, no source.
constexpr double kAfterMainsS = 5;
constexpr std::size_t kShutdownsTold = 3;
// A contact that opens does so again; common practice, no source.
constexpr std::size_t kContactStepsLeast = 2;

std::string volts(double value) {
  return fmt::format("{:.3f} V", value);
}

/// Connectors that a resistance of cable or contact explains.
class Wiring {
 public:
  explicit Wiring(const proto::SessionResult& result) {
    for (const proto::ContactResistance& contact : result.contact_resistances()) {
      if (!contact.flagged()) continue;
      suspects_.insert(contact.channel());
      words_.push_back(fmt::format(
          "{}: {:.1f} mohm more than wire and contacts explain ({:.1f} to {:.1f}){}", contact.channel(),
          1e3 * contact.excess(), 1e3 * contact.excess_low(), 1e3 * contact.excess_high(),
          contact.has_heat_w() ? fmt::format(", {:.0f} W in it at {:.0f} A", contact.heat_w(), contact.heat_a()) : ""));
    }
    for (const proto::ReturnDrop& drop : result.return_drops()) {
      if (!drop.flagged()) continue;
      suspects_.insert(drop.connectors().begin(), drop.connectors().end());
      ++returns_;
      words_.push_back(fmt::format(
          "{}: the returns of {} together rise by {:.2f} mohm of their load ({:.2f} to {:.2f}); wires and contacts "
          "explain {:.2f}, {:.2f} at most, so one of them carries more; which one is not told",
          drop.channel(), fmt::join(drop.connectors(), ", "), 1e3 * drop.slope(), 1e3 * drop.slope_low(),
          1e3 * drop.slope_high(), 1e3 * drop.expected(), 1e3 * drop.expected_most()));
    }
    std::map<std::string, std::vector<const proto::EventResult*>> steps;
    for (const proto::EventResult& event : result.events()) {
      if (event.kind() == proto::EVENT_KIND_CONTACT_STEP) steps[event.channel()].push_back(&event);
    }
    for (const auto& [channel, found] : steps) {
      const proto::EventResult& first = *found.front();
      std::string words = fmt::format(
          "{}: its resistance stepped {} without a step of its load, first by {:+.1f} mohm at "
          "{:.3f} s",
          channel, found.size() == 1 ? "once" : fmt::format("{} times", found.size()),
          1e3 * first.resistance_step_ohm(), first.start_s());
      if (found.size() < kContactStepsLeast) {
        remarks_.push_back(words + ": one step alone decides nothing");
        continue;
      }
      suspects_.insert(channel);
      words_.push_back(std::move(words));
    }
  }

  /// Whether the contact, and not the supply, is what failed here: other connectors of the rail hold their limits.
  bool explains(const proto::SessionResult& result, const proto::Verdict& failed) const {
    if (!suspects_.contains(failed.channel())) return false;
    return std::ranges::none_of(result.verdicts(), [&](const proto::Verdict& other) {
      return other.rail() == failed.rail() && other.quantity() == failed.quantity() &&
             other.decision() == proto::DECISION_FAIL && !suspects_.contains(other.channel());
    });
  }

  const std::vector<std::string>& words() const { return words_; }
  bool returns_alone() const { return returns_ > 0 && returns_ == words_.size(); }
  const std::vector<std::string>& remarks() const { return remarks_; }

 private:
  std::set<std::string> suspects_;
  std::vector<std::string> words_;
  std::vector<std::string> remarks_;
  std::size_t returns_ = 0;  // of the words
};

bool follows_mains_loss(const proto::SessionResult& result, double at_s) {
  return std::ranges::any_of(result.events(), [&](const proto::EventResult& event) {
    return event.kind() == proto::EVENT_KIND_MAINS_LOSS && at_s >= event.start_s() - event.start_uncertainty_s() &&
           at_s <= event.start_s() + event.duration_s() + kAfterMainsS;
  });
}

std::string failure(const proto::Verdict& verdict) {
  const auto amount = [&](double value) {
    return verdict.unit() == "V" ? volts(value) : fmt::format("{:.4g} {}", value, verdict.unit());
  };
  return fmt::format("{} at {}: {} against {} {}, allowed", verdict.rail(), verdict.channel(), amount(verdict.value()),
                     verdict.side() == "high" ? "at most" : "at least", amount(verdict.limit()));
}

void read_verdicts(const proto::SessionResult& result, const Wiring& wiring, Findings& found) {
  std::vector<std::pair<double, std::string>> failed;
  for (const proto::Verdict& verdict : result.verdicts()) {
    if (verdict.decision() != proto::DECISION_FAIL) continue;
    if (verdict.has_time_s() && follows_mains_loss(result, verdict.time_s())) {
      found.mains.push_back(failure(verdict) + ", after the mains had gone");
    } else if (wiring.explains(result, verdict)) {
      found.wiring.push_back(failure(verdict) + ", behind that contact alone");
    } else {
      failed.emplace_back(-std::abs(verdict.value() - verdict.limit()) / std::max(1e-9, std::abs(verdict.limit())),
                          failure(verdict));
      found.standby_fell = found.standby_fell || verdict.rail() == "+5VSB";
    }
  }
  std::ranges::sort(failed);
  for (auto& [order, words] : failed) found.supply.push_back(std::move(words));
}

void read_shutdowns(const proto::SessionResult& result, bool mains_watched, Findings& found) {
  for (const proto::EventResult& event : result.events()) {
    if (event.kind() != proto::EVENT_KIND_SHUTDOWN) continue;
    found.shutdowns.push_back(read_shutdown(event, mains_watched));
    const proto::ShutdownRead& read = found.shutdowns.back();
    if (found.shutdowns.size() > kShutdownsTold) continue;
    const std::string words = fmt::format("PWR_OK fell at {:.3f} s: {}", event.start_s(), event.note());
    // A fall while the load touched its label accuses neither the supply nor the PC.
    const bool unclear = demand(event) == Demand::kUnclear && (read.signature() == proto::SIGNATURE_UNDER_VOLTAGE ||
                                                               read.signature() == proto::SIGNATURE_SUPPLY_INTERNAL);
    switch (unclear ? proto::CONCLUSION_NOT_SHOWN : points_to(read.signature())) {
      case proto::CONCLUSION_MAINS:
        found.mains.push_back(words);
        break;
      case proto::CONCLUSION_SUPPLY_TOO_SMALL:
        found.overload.push_back(words);
        break;
      case proto::CONCLUSION_SUPPLY_FAULTY:
        found.supply.push_back(words);
        break;
      default:
        found.remarks.push_back(words);
        break;
    }
    found.mains_or_supply = found.mains_or_supply || read.signature() == proto::SIGNATURE_MAINS_OR_SUPPLY;
  }
  if (found.shutdowns.size() > kShutdownsTold) {
    found.remarks.push_back(fmt::format("PWR_OK fell {} times in all", found.shutdowns.size()));
  }
}

void read_mains(const proto::SessionResult& result, Findings& found) {
  std::size_t losses = 0;
  for (const proto::EventResult& event : result.events()) losses += event.kind() == proto::EVENT_KIND_MAINS_LOSS;
  if (losses > 0) found.remarks.push_back(fmt::format("the mains was lost or dipped {} times", losses));
}

void read_overload(const proto::SessionResult& result, Findings& found) {
  std::size_t outside = 0;
  const proto::EventResult* worst = nullptr;
  for (const proto::EventResult& event : result.events()) {
    const bool excursion = event.kind() == proto::EVENT_KIND_EXCURSION || event.kind() == proto::EVENT_KIND_SAG;
    if (!excursion || event.within_rating() != proto::WITHIN_RATING_NO) continue;
    if (follows_mains_loss(result, event.start_s())) continue;
    ++outside;
    if (worst == nullptr || event.depth_v() > worst->depth_v()) worst = &event;
  }
  if (worst == nullptr) return;
  found.overload.push_back(
      fmt::format("{} of the rails' excursions came with the load above the label, the deepest at {:.3f} s on {} ({})",
                  outside, worst->start_s(), worst->channel(), volts(worst->extreme_v())));
}

// A sound output is lowest when its control has turned round, 0.2 ms after a step and later; where capacitance is low
// or resistance high the edge of the load itself makes the minimum. Common practice, no source.
constexpr double kEarlyMinimumS = 160e-6;
constexpr double kEarlyStepLeastA = 5;
constexpr std::uint32_t kEarlyStepsLeast = 30;

void read_minima(const proto::SessionResult& result, Findings& found) {
  for (const proto::StepSummary& step : result.steps()) {
    const bool told = step.rising() && step.has_time_to_minimum_s_median() && step.has_step_a_median();
    if (!told || step.step_a_median() < kEarlyStepLeastA || step.measured() < kEarlyStepsLeast) continue;
    if (step.time_to_minimum_s_median() > kEarlyMinimumS) continue;
    found.remarks.push_back(
        fmt::format("early minimum at {}: after steps of {:.0f} A it is lowest {:.2f} ms after the edge (median of "
                    "{}), as with output "
                    "capacitors of little capacitance or much resistance; a sound output takes 0.2 ms and more (common "
                    "practice, no "
                    "source)",
                    step.channel(), step.step_a_median(), 1e3 * step.time_to_minimum_s_median(), step.measured()));
  }
}

}  // namespace

Findings findings(const proto::SessionResult& result, bool mains_watched) {
  Findings found;
  const Wiring wiring(result);
  found.wiring = wiring.words();
  found.remarks = wiring.remarks();
  found.returns_alone = wiring.returns_alone();
  read_verdicts(result, wiring, found);
  read_shutdowns(result, mains_watched, found);
  read_overload(result, found);
  read_mains(result, found);
  read_minima(result, found);
  return found;
}

}  // namespace host::diagnose
