// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/lock_ups.h"

#include <algorithm>
#include <cmath>

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

class Weighing {
 public:
  Weighing(const proto::Exposure& exposure, const proto::Declaration& declared)
      : exposure_(exposure),
        loads_(exposure),
        window_s_(declared.window_s()),
        window_columns_(std::max<std::size_t>(
            1, static_cast<std::size_t>(std::llround(declared.window_s() / exposure.column_s())))) {
    for (int i = 0; i < exposure.event_s_size(); ++i) events_.emplace_back(exposure.event_s(i), i);
    std::ranges::sort(events_);
  }

  /// Windows of either load state, away from `lock_ups`.
  void count_base(const std::vector<MarkedLockUp>& lock_ups) {
    for (std::size_t from = 0; from + window_columns_ <= loads_.columns(); from += window_columns_) {
      const auto load_w = loads_.mean_w(from, from + window_columns_);
      const double start_s = static_cast<double>(from) * loads_.column_s();
      const double end_s = static_cast<double>(from + window_columns_) * loads_.column_s();
      const bool near = std::ranges::any_of(lock_ups, [&](const MarkedLockUp& one) {
        return end_s > one.from_s - kClearOfLockUpS && start_s < one.to_s + kClearOfLockUpS;
      });
      if (!load_w || near) continue;
      Base& base = loads_.busy(*load_w) ? busy_ : idle_;
      ++base.windows;
      base.hits += first_event(start_s, end_s) >= 0 ? 1 : 0;
    }
  }

  proto::LockUp look(const MarkedLockUp& marked) const {
    proto::LockUp out;
    out.set_from_s(marked.from_s);
    out.set_to_s(marked.to_s);
    out.set_source(marked.source);
    out.set_words(marked.words);
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
    const int event = first_event(marked.from_s - window_s_, until_s);
    out.set_hit(event >= 0);
    if (event >= 0) {
      out.set_lead_s(marked.from_s - exposure_.event_s(event));
      out.set_event(event < exposure_.event_words_size() ? exposure_.event_words(event) : "");
    }
    const Base& base = out.busy() ? busy_ : idle_;
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
  /// Index of the first event that starts in [from, to]; -1: none.
  int first_event(double from_s, double to_s) const {
    const auto at = std::ranges::lower_bound(events_, std::pair{from_s, -1});
    return at != events_.end() && at->first <= to_s ? at->second : -1;
  }

  const proto::Exposure& exposure_;
  LoadState loads_;
  double window_s_;
  std::size_t window_columns_;
  std::vector<std::pair<double, int>> events_;
  Base busy_;
  Base idle_;
};

std::vector<MarkedLockUp> joined(std::vector<MarkedLockUp> lock_ups, double window_s) {
  std::ranges::sort(lock_ups, {}, &MarkedLockUp::from_s);
  std::vector<MarkedLockUp> out;
  for (MarkedLockUp& one : lock_ups) {
    if (out.empty() || one.from_s - window_s > out.back().to_s) {
      out.push_back(std::move(one));
      continue;
    }
    out.back().to_s = std::max(out.back().to_s, one.to_s);
    if (!one.words.empty()) out.back().words += (out.back().words.empty() ? "" : "; ") + one.words;
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
  out.set_likelihood_ratio(likelihood_ratio(looks, chance));
  double low = out.likelihood_ratio();
  double high = low;
  for (const double other : kChanceBand) {
    low = std::min(low, likelihood_ratio(looks, other));
    high = std::max(high, likelihood_ratio(looks, other));
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
  double seen_s = 0;
  for (const float share : exposure.seen_share()) seen_s += static_cast<double>(share) * exposure.column_s();
  out.set_exposure_h(seen_s / 3600);
  if (seen_s > 0) out.set_events_per_h_upper(rate_upper_per_h(out.events(), out.exposure_h(), kConfidence));
  const std::vector<MarkedLockUp> apart = joined(std::move(lock_ups), declared.window_s());
  Weighing weighing(exposure, declared);
  weighing.count_base(apart);
  std::vector<Look> looks;
  for (const MarkedLockUp& marked : apart) {
    proto::LockUp& look = *out.add_lock_ups() = weighing.look(marked);
    // Never a certainty: a base chance of 1 would divide by nothing.
    if (look.refusal().empty()) looks.push_back({std::min(look.base_chance_upper(), 0.999), look.hit()});
  }
  sum_up(looks, declared.chance_if_faulty(), out);
  return out;
}

}  // namespace host::diagnose
