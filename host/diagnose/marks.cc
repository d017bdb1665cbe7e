// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/marks.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "host/diagnose/load_state.h"

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;

// All common practice, no source.
constexpr double kFlatShare = 0.02;   // of the usual spread of a busy column
constexpr double kFlatW = 2;          // noise of the current channels
constexpr double kLivelyShare = 0.3;  // of the usual spread: a PC at work
constexpr double kAliveShare = 0.05;  // of the busy load: less is a PC that is off
constexpr double kFlatLeastS = 1.5;
constexpr double kLivelyBeforeS = 2;
constexpr double kFlatReliance = 0.3;      // menus, loading and a PC left alone stand still too
constexpr std::size_t kFlatAloneMost = 3;  // more than these are a habit of this load
constexpr double kBeatingShare = 0.5;      // of the session: then the heartbeat would have told

double usual_spread(const proto::Exposure& exposure, const LoadState& loads) {
  std::vector<double> spreads;
  for (std::size_t i = 0; i < loads.columns(); ++i) {
    const auto load_w = loads.mean_w(i, i + 1);
    if (load_w && loads.busy(*load_w)) spreads.push_back(exposure.spread_w(static_cast<int>(i)));
  }
  if (spreads.empty()) return 0;
  const auto middle = spreads.begin() + static_cast<std::ptrdiff_t>(spreads.size() / 2);
  std::ranges::nth_element(spreads, middle);
  return *middle;
}

double busy_load(const LoadState& loads) {
  double sum = 0;
  std::size_t count = 0;
  for (std::size_t i = 0; i < loads.columns(); ++i) {
    const auto load_w = loads.mean_w(i, i + 1);
    if (!load_w || !loads.busy(*load_w)) continue;
    sum += *load_w;
    ++count;
  }
  return count == 0 ? 0 : sum / static_cast<double>(count);
}

bool falls_of_pwr_ok_count(proto::Symptom symptom) {
  return symptom == proto::SYMPTOM_RESET || symptom == proto::SYMPTOM_OFF ||
         symptom == proto::SYMPTOM_OFF_UNTIL_MAINS_CYCLE;
}

void add_told(const proto::SessionResult& result, Marks& out) {
  for (const proto::SessionMark& mark : result.session().marks()) {
    const auto left_out = [&](const std::string& why) {
      out.remarks.push_back(fmt::format("a mark by {} was left out: {}", mark.source(), why));
    };
    if (!mark.lock_up()) {
      if (mark.source() == "heartbeat") left_out(mark.words());
    } else if (!mark.placed()) {
      left_out("the clocks could not be compared, so that its time is not known");
    } else if (mark.to_s() < 0 || mark.from_s() > result.session().duration_s()) {
      left_out("it lies outside the session");
    } else {
      out.lock_ups.push_back({mark.from_s(), mark.to_s(), mark.source(), mark.words()});
    }
  }
}

/// How far the heartbeat may be relied on.
void add_listening(const proto::HeartbeatSummary& beats, Marks& out) {
  const auto say = [&](std::string words) { out.remarks.push_back(std::move(words)); };
  if (beats.listened_at().empty()) return;
  if (beats.beats() == 0) say("a heartbeat was listened for, but none came: its silence says nothing");
  if (beats.from_this_computer()) {
    say("heartbeats came from the recording computer itself, which must not be the PC under test");
  }
  const std::uint64_t strange = beats.foreign() + beats.malformed() + beats.repeated() + beats.of_earlier_runs();
  if (strange > 0) {
    say(fmt::format(
        "{} datagrams were not taken for heartbeats: {} of another token, {} malformed, {} repeated, {} of a "
        "start of the sender that was over",
        strange, beats.foreign(), beats.malformed(), beats.repeated(), beats.of_earlier_runs()));
  }
  if (beats.lost() > 0) {
    say(fmt::format(
        "{} heartbeats were lost on their way, at most {} in a row while the PC ran: silences are wider by as "
        "many periods",
        beats.lost(), beats.lost_in_a_row()));
  }
}

void add_falls(const proto::SessionResult& result, Marks& out) {
  if (!falls_of_pwr_ok_count(result.session().symptom())) return;
  for (const proto::EventResult& event : result.events()) {
    if (event.kind() != proto::EVENT_KIND_SHUTDOWN) continue;
    const double u = event.start_uncertainty_s();
    out.lock_ups.push_back({event.start_s() - u, event.start_s() + u, "PWR_OK", "PWR_OK fell"});
  }
}

/// Whether another mark tells of the same lock-up.
bool confirmed(const MarkedLockUp& flat, const std::vector<MarkedLockUp>& told) {
  return std::ranges::any_of(told, [&](const MarkedLockUp& one) {
    constexpr double kHandLateS = 10;  // somebody looks at a still picture for a while
    return one.from_s - kHandLateS <= flat.to_s && flat.from_s <= one.to_s;
  });
}

}  // namespace

std::vector<MarkedLockUp> flat_loads(const proto::Exposure& exposure) {
  std::vector<MarkedLockUp> out;
  const LoadState loads(exposure);
  if (!(exposure.column_s() > 0) || static_cast<std::size_t>(exposure.spread_w_size()) < loads.columns()) return out;
  const double usual_w = usual_spread(exposure, loads);
  const double alive_w = kAliveShare * busy_load(loads);
  const double flat_w = std::max(kFlatShare * usual_w, kFlatW);
  if (kLivelyShare * usual_w <= flat_w) return out;  // nothing here ever moved
  const auto columns = [&](double seconds) {
    return static_cast<std::size_t>(std::ceil(seconds / exposure.column_s()));
  };
  const auto spread_w = [&](std::size_t at) { return static_cast<double>(exposure.spread_w(static_cast<int>(at))); };
  const auto flat = [&](std::size_t at) {
    const auto load_w = loads.mean_w(at, at + 1);
    return load_w && *load_w > alive_w && spread_w(at) <= flat_w;
  };
  const std::size_t before = columns(kLivelyBeforeS);
  for (std::size_t i = before; i < loads.columns(); ++i) {
    if (!flat(i) || flat(i - 1)) continue;
    std::size_t end = i;
    while (end < loads.columns() && flat(end)) ++end;
    std::size_t lively = 0;
    for (std::size_t k = i - before; k < i; ++k) {
      lively += loads.mean_w(k, k + 1) && spread_w(k) >= kLivelyShare * usual_w ? 1 : 0;
    }
    if (end - i >= columns(kFlatLeastS) && 2 * lively >= before) {
      out.push_back({static_cast<double>(i - 1) * exposure.column_s(), static_cast<double>(i) * exposure.column_s(),
                     "flat load", "the load stood still after it had moved", kFlatReliance});
    }
  }
  return out;
}

Marks marks(const proto::SessionResult& result, const proto::Exposure& exposure) {
  Marks out;
  add_told(result, out);
  add_listening(result.session().heartbeats(), out);
  add_falls(result, out);
  const std::vector<MarkedLockUp> told = out.lock_ups;
  std::vector<MarkedLockUp> alone;
  for (MarkedLockUp& one : flat_loads(exposure)) {
    (confirmed(one, told) ? out.lock_ups : alone).push_back(std::move(one));
  }
  if (alone.empty()) return out;
  const proto::HeartbeatSummary& beats = result.session().heartbeats();
  const bool beating =
      static_cast<double>(beats.beats()) * beats.period_s() > kBeatingShare * result.session().duration_s();
  const std::string count = alone.size() == 1 ? "once" : fmt::format("{} times", alone.size());
  if (beating) {
    out.remarks.push_back(
        fmt::format("the load stood still {}, first at {:.1f} s, but the heartbeat went on: no "
                    "lock-up",
                    count, alone.front().to_s));
  } else if (alone.size() > kFlatAloneMost) {
    out.remarks.push_back(
        fmt::format("the load stood still {} without any other mark: a habit of this load, not "
                    "taken for lock-ups",
                    count));
  } else {
    out.lock_ups.insert(out.lock_ups.end(), alone.begin(), alone.end());
  }
  return out;
}

}  // namespace host::diagnose
