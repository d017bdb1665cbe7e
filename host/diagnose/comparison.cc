// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/comparison.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <boost/math/distributions/students_t.hpp>

#include "host/diagnose/compared_figures.h"
#include "host/diagnose/exact.h"

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;
using Results = std::span<const proto::SessionResult>;

constexpr double kConfidence = 0.95;
// Mean loads that differ by more than this move the rails by themselves; common practice, no source.
constexpr double kLoadsDiffer = 0.1;
constexpr double kLoadsDifferLeastA = 0.5;
constexpr double kSignificant = 0.05;

bool is_b(std::size_t session) {
  return session % 2 == 1;
}

std::uint64_t lock_ups_of(const proto::SessionResult& result) {
  // A flat load alone is no count.
  return static_cast<std::uint64_t>(std::ranges::count_if(
      result.diagnosis().evidence().lock_ups(), [](const proto::LockUp& one) { return one.reliance() >= 1; }));
}

double seen_h(const proto::SessionResult& result) {
  const auto& coverage = result.coverage();
  if (coverage.scans_expected() == 0) return 0;
  const double share = static_cast<double>(coverage.scans_seen()) / static_cast<double>(coverage.scans_expected());
  return share * result.session().duration_s() / 3600;
}

std::expected<void, std::string> check(Results results) {
  if (results.size() < 2 || results.size() > kSessionsMost) {
    return std::unexpected(
        fmt::format("two to {} sessions are compared, in turn as found and changed: A B A", kSessionsMost));
  }
  std::set<std::string> hashes;
  for (const proto::SessionResult& result : results) {
    const proto::SessionFacts& facts = result.session();
    if (!facts.recording_sha256().empty() && !hashes.insert(facts.recording_sha256()).second) {
      return std::unexpected(facts.recording() + ": the same recording is named twice");
    }
    if (result.simulated() != results.front().simulated()) {
      return std::unexpected(facts.recording() + ": a simulated session proves nothing about a measured one");
    }
  }
  return {};
}

void describe(Results results, proto::Comparison& out) {
  for (std::size_t i = 0; i < results.size(); ++i) {
    const proto::SessionFacts& facts = results[i].session();
    proto::ComparedSession& session = *out.add_sessions();
    session.set_state(is_b(i) ? "B" : "A");
    session.set_recording(facts.recording());
    session.set_recording_sha256(facts.recording_sha256());
    session.set_unit_id(facts.unit_id());
    session.set_jig_id(facts.jig_id());
    session.set_calibration_id(facts.calibration_id());
    session.set_edition(results[i].edition());
    session.set_started_utc(facts.started_utc());
    session.set_duration_s(facts.duration_s());
    session.set_conclusion(results[i].conclusion());
    session.set_lock_ups(lock_ups_of(results[i]));
    session.set_exposure_h(seen_h(results[i]));
    if (!(session.exposure_h() > 0)) continue;
    const Bounds rate = rate_bounds_per_h(session.lock_ups(), session.exposure_h(), kConfidence);
    session.set_lock_ups_per_h_low(rate.low);
    session.set_lock_ups_per_h_high(*rate.high);
  }
}

bool same_jig(const proto::Comparison& out) {
  const auto& first = out.sessions(0);
  return std::ranges::all_of(out.sessions(), [&](const proto::ComparedSession& one) {
    return one.jig_id() == first.jig_id() && one.calibration_id() == first.calibration_id();
  });
}

void add_doubts(Results results, proto::Comparison& out) {
  const auto differ = [&](const auto& of) {
    return std::ranges::any_of(results,
                               [&](const proto::SessionResult& one) { return of(one) != of(results.front()); });
  };
  if (!same_jig(out)) {
    out.add_not_compared("voltages and resistances: jigs or calibrations differ, so that their errors do not cancel");
  }
  if (results.size() == 2) {
    out.add_doubts(
        "there is no session back at A: what time changed is not told from what the change did, "
        "and how far a figure repeats is not known");
  }
  if (differ([](const auto& one) { return one.session().limits_sha256(); })) {
    out.add_doubts(
        "the sessions were judged by different limits: their verdicts are not held against each other; "
        "--limits judges all by one edition");
  }
  if (differ([](const auto& one) { return one.session().symptom(); })) {
    out.add_doubts("the symptom told at intake is not the same in all sessions: their lock-ups may be of two sorts");
  }
  for (int i = 1; i < out.sessions_size(); ++i) {
    if (out.sessions(i).started_utc() < out.sessions(i - 1).started_utc()) {
      out.add_doubts("the sessions are not in order of time");
      break;
    }
  }
  for (const proto::SessionResult& result : results) {
    if (!result.session().calibration_doubt().empty()) {
      out.add_doubts(result.session().recording() + ": " + result.session().calibration_doubt());
    }
  }
  out.add_doubts("fitting a plug or the jig makes its contacts anew: what changed between sessions may be that alone");
}

const SessionFigure* find(const std::vector<SessionFigure>& figures, const SessionFigure& like) {
  const auto at = std::ranges::find_if(figures, [&](const SessionFigure& one) {
    return one.figure == like.figure && one.channel == like.channel && one.unit == like.unit;
  });
  return at == figures.end() ? nullptr : &*at;
}

/// Loads of all sessions far enough apart to move the figure by themselves.
bool loads_differ(const proto::ComparedFigure& figure) {
  double least = std::numeric_limits<double>::infinity();
  double most = -least;
  for (const proto::ComparedValue& one : figure.values()) {
    if (!one.has_load_a()) return false;
    least = std::min(least, one.load_a());
    most = std::max(most, one.load_a());
  }
  return most - least > std::max(kLoadsDifferLeastA, kLoadsDiffer * std::abs(most));
}

/// Spread of the figure among sessions of one state, both states pooled.
struct Repeats {
  double variance = 0;
  double dof = 0;
};

Repeats repeats(const std::vector<const SessionFigure*>& of, const double (&means)[2]) {
  Repeats out;
  for (std::size_t i = 0; i < of.size(); ++i) out.variance += std::pow(of[i]->value - means[i % 2], 2);
  out.dof = static_cast<double>(of.size()) - 2;
  if (out.dof > 0) out.variance /= out.dof;
  return out;
}

void weigh(const std::vector<const SessionFigure*>& of, proto::ComparedFigure& out) {
  const double counts[2] = {static_cast<double>(of.size() - of.size() / 2), static_cast<double>(of.size() / 2)};
  double means[2] = {0, 0};
  double widest = 0;
  bool of_difference = true;
  for (std::size_t i = 0; i < of.size(); ++i) {
    means[i % 2] += of[i]->value / counts[i % 2];
    widest = std::max(widest, of[i]->uncertainty);
    of_difference = of_difference && of[i]->of_difference;
  }
  const double u = of_difference ? widest : widest * std::sqrt(2.0);
  const Repeats spread = repeats(of, means);
  double half = u;
  if (spread.dof > 0) {
    const double t =
        boost::math::quantile(boost::math::complement(boost::math::students_t(spread.dof), (1 - kConfidence) / 2));
    half = std::hypot(u, t * std::sqrt(spread.variance * (1 / counts[0] + 1 / counts[1])));
  }
  out.set_effect(means[1] - means[0]);
  out.set_uncertainty(u);
  out.set_interval_low(out.effect() - half);
  out.set_interval_high(out.effect() + half);
  const std::size_t last_a = is_b(of.size() - 1) ? of.size() - 2 : of.size() - 1;
  if (last_a > 0) out.set_return_gap(of[last_a]->value - of[0]->value);
  const bool holds_zero = out.interval_low() <= 0 && out.interval_high() >= 0;
  out.set_change(holds_zero ? proto::CHANGE_NONE_SHOWN : last_a > 0 ? proto::CHANGE_SHOWN : proto::CHANGE_ONE_WAY);
}

void compare_figures(Results results, proto::Comparison& out) {
  std::vector<std::vector<SessionFigure>> figures;
  for (const proto::SessionResult& result : results) figures.push_back(session_figures(result));
  std::vector<SessionFigure> all;
  for (const auto& of_one : figures) {
    for (const SessionFigure& figure : of_one) {
      if (find(all, figure) == nullptr) all.push_back(figure);
    }
  }
  const bool sound = same_jig(out);
  for (const SessionFigure& like : all) {
    proto::ComparedFigure& figure = *out.add_figures();
    figure.set_figure(like.figure);
    figure.set_channel(like.channel);
    figure.set_rail(like.rail);
    figure.set_unit(like.unit);
    std::vector<const SessionFigure*> of;
    for (const auto& of_one : figures) {
      proto::ComparedValue& value = *figure.add_values();
      const SessionFigure* one = find(of_one, like);
      if (one == nullptr) continue;
      of.push_back(one);
      value.set_value(one->value);
      if (one->load_a) value.set_load_a(*one->load_a);
    }
    if (of.size() < results.size()) {
      figure.set_reason("not every session has it");
    } else if (!sound) {
      figure.set_reason("jigs or calibrations differ");
    } else {
      weigh(of, figure);
      if (like.moves_with_load && loads_differ(figure)) {
        figure.set_reason("loads differ by more than a tenth, which moves it too");
      }
    }
  }
}

void compare_lock_ups(Results results, proto::Comparison& out) {
  proto::ComparedLockUps& told = *out.mutable_lock_ups();
  double hours[2] = {0, 0};
  std::uint64_t counts[2] = {0, 0};
  for (std::size_t i = 0; i < results.size(); ++i) {
    hours[i % 2] += seen_h(results[i]);
    counts[i % 2] += lock_ups_of(results[i]);
  }
  const auto minutes = [](double h) { return static_cast<std::uint64_t>(std::floor(h * 60)); };
  told.set_lock_ups_a(counts[0]);
  told.set_lock_ups_b(counts[1]);
  told.set_minutes_a(minutes(hours[0]));
  told.set_minutes_b(minutes(hours[1]));
  if (counts[0] + counts[1] > 0 && hours[0] > 0 && hours[1] > 0) {
    const Bounds ratio = rate_ratio_bounds(counts[0], hours[0], counts[1], hours[1], kConfidence);
    if (counts[0] > 0) {
      told.set_rate_ratio(static_cast<double>(counts[1]) / hours[1] / (static_cast<double>(counts[0]) / hours[0]));
    }
    told.set_rate_ratio_low(ratio.low);
    if (ratio.high) told.set_rate_ratio_high(*ratio.high);
  }
  if (counts[0] + counts[1] == 0) {
    told.set_refusal("no lock-up was told of in any session");
  } else if (told.minutes_a() == 0 || told.minutes_b() == 0) {
    told.set_refusal("as found or changed, less than a minute was seen");
  } else if (counts[0] > told.minutes_a() || counts[1] > told.minutes_b()) {
    told.set_refusal("more lock-ups than minutes: this test is not made for so many");
  } else {
    const FisherTest test = fisher({counts[0], told.minutes_a() - counts[0], counts[1], told.minutes_b() - counts[1]});
    told.set_p_value(test.two_sided);
    told.set_p_fewer_in_b(test.fewer_in_b);
  }
}

void say(proto::Comparison& out) {
  std::size_t compared = 0;
  std::size_t shown = 0;
  for (const proto::ComparedFigure& one : out.figures()) {
    compared += one.change() == proto::CHANGE_NOT_COMPARED ? 0 : 1;
    shown += one.change() == proto::CHANGE_SHOWN || one.change() == proto::CHANGE_ONE_WAY ? 1 : 0;
  }
  const proto::ComparedLockUps& lock_ups = out.lock_ups();
  if (lock_ups.has_p_value()) {
    out.add_said(
        fmt::format("{} lock-ups in {} min as found, {} in {} min changed: {} (Fisher's exact test, p = {:.2g})",
                    lock_ups.lock_ups_a(), lock_ups.minutes_a(), lock_ups.lock_ups_b(), lock_ups.minutes_b(),
                    lock_ups.p_value() < kSignificant ? "more than chance makes" : "no more than chance may make",
                    lock_ups.p_value()));
  } else {
    out.add_said("lock-ups: " + lock_ups.refusal());
  }
  out.add_said(compared == 0 ? "no figure could be compared"
                             : fmt::format("{} of {} figures changed by more than their differences are uncertain by",
                                           shown, compared));
}

}  // namespace

std::expected<proto::Comparison, std::string> compare(Results results) {
  if (const auto sound = check(results); !sound) return std::unexpected(sound.error());
  proto::Comparison out;
  out.set_simulated(results.front().simulated());
  describe(results, out);
  add_doubts(results, out);
  compare_figures(results, out);
  compare_lock_ups(results, out);
  say(out);
  return out;
}

}  // namespace host::diagnose
