// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/lock_ups.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <span>
#include <string>

#include <fmt/format.h>

#include "host/diagnose/evidence.h"
#include "host/diagnose/load_state.h"

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;

constexpr double kConfidence = 0.95;
constexpr double kClearOfLockUpS = 10;
constexpr double kWindowMostS = 3600;          // an hour before a lock-up explains nothing; own choice
constexpr double kChanceBand[] = {0.5, 0.95};  // of the chance of a hit if the supply is at fault

struct Base {
  std::uint64_t hits = 0;
  std::uint64_t windows = 0;
};

/// Of both load states.
struct Bases {
  Base busy;
  Base idle;
};

class Weighing {
 public:
  /// `lock_ups`: all of them, no window near one is a base.
  Weighing(const proto::Exposure& exposure, const proto::Declaration& declared,
           const std::vector<MarkedLockUp>& lock_ups)
      : exposure_(exposure),
        loads_(exposure),
        lock_ups_(lock_ups),
        window_s_(declared.window_s()),
        window_columns_(columns_of(declared.window_s())) {
    for (int i = 0; i < exposure.event_s_size(); ++i) events_.emplace_back(exposure.event_s(i), i);
    std::ranges::sort(events_);
  }

  proto::LockUp look(const MarkedLockUp& marked) {
    proto::LockUp out;
    out.set_from_s(marked.from_s);
    out.set_to_s(marked.to_s);
    out.set_source(marked.source);
    out.set_words(marked.words);
    out.set_reliance(marked.reliance);
    const auto end = static_cast<std::ptrdiff_t>(std::floor(marked.from_s / loads_.column_s()));
    const std::ptrdiff_t begin = end - static_cast<std::ptrdiff_t>(window_columns_);
    if (begin < 0 || !loads_.mean_w(static_cast<std::size_t>(begin), static_cast<std::size_t>(end))) {
      out.set_refusal("the window before it was not seen whole");
      return out;
    }
    const std::size_t left = loads_.left_busy(static_cast<std::size_t>(begin), static_cast<std::size_t>(end));
    const bool stayed = left == static_cast<std::size_t>(end);
    const double until_s = stayed ? marked.to_s : static_cast<double>(left) * loads_.column_s();
    // The state that counts is the one before the load went, if it did.
    const auto before_w = loads_.mean_w(static_cast<std::size_t>(begin), left);
    out.set_busy(before_w && loads_.busy(*before_w));
    // A fall of PWR_OK is the lock-up itself, not what came before it.
    const bool is_fall = marked.source.find("PWR_OK") != std::string::npos;
    const int event = first_event(marked.from_s - window_s_, until_s, is_fall);
    out.set_hit(event >= 0);
    if (event >= 0) {
      out.set_lead_s(marked.from_s - exposure_.event_s(event));
      out.set_event(event < exposure_.event_words_size() ? exposure_.event_words(event) : "");
    }
    const Bases& bases = bases_of(columns_of(window_s_ + marked.to_s - marked.from_s));
    const Base& base = out.busy() ? bases.busy : bases.idle;
    out.set_base_hits(base.hits);
    out.set_base_windows(base.windows);
    if (base.windows < kBaseWindowsLeast) {
      out.set_refusal(
          fmt::format("{} windows of the same load state were seen, {} are needed", base.windows, kBaseWindowsLeast));
      return out;
    }
    out.set_base_chance(base_chance(base.hits, base.windows));
    out.set_base_chance_upper(base_chance_upper(base.hits, base.windows, kConfidence));
    return out;
  }

 private:
  std::size_t columns_of(double seconds) const {
    return std::max<std::size_t>(1, static_cast<std::size_t>(std::llround(seconds / loads_.column_s())));
  }

  /// Index of the first event that starts in [from, to]; -1: none.
  int first_event(double from_s, double to_s, bool but_shutdowns = false) const {
    for (auto at = std::ranges::lower_bound(events_, std::pair{from_s, -1}); at != events_.end() && at->first <= to_s;
         ++at) {
      const bool worded = at->second < exposure_.event_words_size();
      if (!but_shutdowns || !worded || !exposure_.event_words(at->second).starts_with("shutdown")) return at->second;
    }
    return -1;
  }

  /// Hits in disjoint windows of so many columns, away from the lock-ups.
  const Bases& bases_of(std::size_t columns) {
    const auto [at, fresh] = bases_.try_emplace(columns);
    if (!fresh) return at->second;
    for (std::size_t from = 0; from + columns <= loads_.columns(); from += columns) {
      const auto load_w = loads_.mean_w(from, from + columns);
      const double start_s = static_cast<double>(from) * loads_.column_s();
      const double end_s = static_cast<double>(from + columns) * loads_.column_s();
      const bool near = std::ranges::any_of(lock_ups_, [&](const MarkedLockUp& one) {
        return end_s > one.from_s - kClearOfLockUpS && start_s < one.to_s + kClearOfLockUpS;
      });
      if (!load_w || near) continue;
      Base& base = loads_.busy(*load_w) ? at->second.busy : at->second.idle;
      ++base.windows;
      base.hits += first_event(start_s, end_s) >= 0 ? 1 : 0;
    }
    return at->second;
  }

  const proto::Exposure& exposure_;
  LoadState loads_;
  const std::vector<MarkedLockUp>& lock_ups_;
  double window_s_;
  std::size_t window_columns_;
  std::vector<std::pair<double, int>> events_;
  std::map<std::size_t, Bases> bases_;  // by columns of a window
};

bool by_hand(const MarkedLockUp& one) {
  return one.source == "key" || one.source == "button";
}

/// Marks [first, last) of one lock-up in order of time, as one: dated by the earliest that no hand gave, narrowed by
/// the others of that sort that overlap it.
MarkedLockUp one_of(std::span<const MarkedLockUp> marks) {
  const auto automatic = std::ranges::find_if_not(marks, by_hand);
  MarkedLockUp out = automatic == marks.end() ? marks.front() : *automatic;
  out.source.clear();
  out.words.clear();
  const auto append = [](std::string& list, const std::string& words, const char* between) {
    if (!words.empty() && list.find(words) == std::string::npos) list += (list.empty() ? "" : between) + words;
  };
  for (const MarkedLockUp& one : marks) {
    append(out.source, one.source, " and ");
    append(out.words, one.words, "; ");
    out.reliance = std::max(out.reliance, one.reliance);
    if (by_hand(one) || one.from_s > out.to_s || one.to_s < out.from_s) continue;
    out.from_s = std::max(out.from_s, one.from_s);
    out.to_s = std::min(out.to_s, one.to_s);
  }
  return out;
}

std::vector<MarkedLockUp> joined(std::vector<MarkedLockUp> lock_ups, double window_s) {
  std::ranges::sort(lock_ups, {}, &MarkedLockUp::from_s);
  std::vector<MarkedLockUp> out;
  for (std::size_t begin = 0; begin < lock_ups.size();) {
    double to_s = lock_ups[begin].to_s;
    std::size_t end = begin + 1;
    for (; end < lock_ups.size() && lock_ups[end].from_s - window_s <= to_s; ++end) {
      to_s = std::max(to_s, lock_ups[end].to_s);
    }
    out.push_back(one_of(std::span(lock_ups).subspan(begin, end - begin)));
    begin = end;
  }
  return out;
}

std::string_view word(Strength strength) {
  switch (strength) {
    case Strength::kAgainst:
      return "speaks against the supply";
    case Strength::kNoInformation:
      return "no information";
    case Strength::kWeak:
      return "weak";
    case Strength::kStrong:
      return "strong";
    case Strength::kVeryStrong:
      return "very strong";
  }
  return "";
}

void sum_up(const std::vector<Look>& looks, double chance, proto::Evidence& out) {
  if (looks.empty()) {
    out.set_refusal("no lock-up could be weighed");
    return;
  }
  const auto ratio = [&](double at) { return after_looks_ratio(likelihood_ratio(looks, at), out.tries()); };
  out.set_likelihood_ratio(ratio(chance));
  double low = out.likelihood_ratio();
  double high = low;
  for (const double other : kChanceBand) {
    low = std::min(low, ratio(other));
    high = std::max(high, ratio(other));
  }
  out.set_likelihood_ratio_low(low);
  out.set_likelihood_ratio_high(high);
  out.set_p_value(after_looks(p_value(looks), out.tries()));
  out.set_strength(std::string(word(strength(out.likelihood_ratio(), looks.size()))));
}

}  // namespace

proto::Declaration default_declaration() {
  proto::Declaration declared;
  declared.set_window_s(2);
  declared.set_chance_if_faulty(0.8);
  return declared;
}

proto::Evidence weigh(const proto::Exposure& exposure, std::vector<MarkedLockUp> lock_ups,
                      const proto::Declaration& declared) {
  proto::Evidence out;
  out.set_tries(std::max<std::uint32_t>(1, declared.tries()));
  out.set_events(static_cast<std::uint64_t>(exposure.event_s_size()));
  const double window_s = declared.window_s();
  const double chance = declared.chance_if_faulty();
  if (!(window_s > 0 && window_s <= kWindowMostS && chance > 0 && chance < 1)) {
    out.set_refusal("what the recording declares for weighing lock-ups makes no sense");
    return out;
  }
  out.set_window_s(window_s);
  out.set_chance_if_faulty(chance);
  if (!(exposure.column_s() > 0)) {
    out.set_refusal("nothing was seen");
    return out;
  }
  if (exposure.cut()) {
    out.add_remarks(
        fmt::format("only the first {} events are kept: later ones are neither counted nor held against "
                    "lock-ups, and the bound on their rate does not hold",
                    exposure.event_s_size()));
  }
  if (out.tries() > 1) {
    out.add_remarks(
        fmt::format("{} pairs of event kinds and window were looked at: the likelihood ratio above 1 is "
                    "divided by that number, the p value multiplied",
                    out.tries()));
  }
  double seen_s = 0;
  for (const float share : exposure.seen_share()) seen_s += static_cast<double>(share) * exposure.column_s();
  out.set_exposure_h(seen_s / 3600);
  if (seen_s > 0 && !exposure.cut())
    out.set_events_per_h_upper(rate_upper_per_h(out.events(), out.exposure_h(), kConfidence));
  const std::vector<MarkedLockUp> apart = joined(std::move(lock_ups), declared.window_s());
  Weighing weighing(exposure, declared, apart);
  std::vector<Look> looks;
  for (const MarkedLockUp& marked : apart) {
    proto::LockUp& look = *out.add_lock_ups() = weighing.look(marked);
    // Never a certainty: a base chance of 1 would divide by nothing.
    if (look.refusal().empty()) {
      looks.push_back({std::min(look.base_chance_upper(), 0.999), look.hit(), look.reliance()});
    }
  }
  sum_up(looks, declared.chance_if_faulty(), out);
  return out;
}

}  // namespace host::diagnose
