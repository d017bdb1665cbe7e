// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/score.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "tests/trial/rates.h"

namespace trial {
namespace {

namespace proto = steadyrail::proto;

constexpr double kAccusedMost = 4.0 / kInnocentsAsked;
constexpr double kStrongOddsMost = 0.005;
constexpr double kStrongOdds = 100;
constexpr double kMeanOddsMost = 1.1;
constexpr double kRightLeast = 0.95;
constexpr std::uint64_t kSeedOfBootstrap = 1;

struct Conclusions {
  proto::Conclusion value;
  const char* word;
};
constexpr std::array<Conclusions, 6> kConclusions = {{{proto::CONCLUSION_SUPPLY_FAULTY, "supply-faulty"},
                                                      {proto::CONCLUSION_SUPPLY_TOO_SMALL, "supply-too-small"},
                                                      {proto::CONCLUSION_WIRING, "wiring"},
                                                      {proto::CONCLUSION_MAINS, "mains"},
                                                      {proto::CONCLUSION_NOT_SHOWN, "not-shown"},
                                                      {proto::CONCLUSION_NOT_TESTED, "not-tested"}}};

const char* word_of(proto::Conclusion conclusion) {
  return std::ranges::find(kConclusions, conclusion, &Conclusions::value)->word;
}

template <typename Test>
std::uint64_t count(const std::vector<Row>& rows, const Test& test) {
  return static_cast<std::uint64_t>(std::ranges::count_if(rows, test));
}

bool is_innocent(const Row& row) {
  return innocent(row.kind);
}

/// Odds stated of innocent sessions.
std::vector<double> innocent_odds(const std::vector<Row>& rows) {
  std::vector<double> out;
  for (const Row& row : rows) {
    if (is_innocent(row) && row.likelihood_ratio) out.push_back(*row.likelihood_ratio);
  }
  return out;
}

std::string share(std::uint64_t k, std::uint64_t n) {
  const Interval exact = exact_share(k, n);
  return fmt::format("{} of {} ({:.2f} %, exact 95 % {:.2f} to {:.2f} %)", k, n,
                     n == 0 ? 0.0 : 100.0 * static_cast<double>(k) / static_cast<double>(n), 100 * exact.low,
                     100 * exact.high);
}

Standing at_most(std::uint64_t k, std::uint64_t n, double most, std::uint64_t asked) {
  const bool good = static_cast<double>(k) <= most * static_cast<double>(n);
  if (n >= asked) return good ? Standing::kMet : Standing::kMissed;
  return exact_share(k, n).low > most ? Standing::kMissed : Standing::kOpen;
}

Standing at_least(std::uint64_t k, std::uint64_t n, double least, std::uint64_t asked) {
  const bool good = static_cast<double>(k) >= least * static_cast<double>(n);
  if (n >= asked) return good ? Standing::kMet : Standing::kMissed;
  return exact_share(k, n).high < least ? Standing::kMissed : Standing::kOpen;
}

std::string confusion(const std::vector<Row>& rows) {
  std::string out = fmt::format("{:<22}{:>9}", "kind of session", "sessions");
  for (const auto& one : kConclusions) out += fmt::format("{:>18}", one.word);
  out += '\n';
  for (const std::string_view kind : kinds()) {
    const std::uint64_t n = count(rows, [&](const Row& row) { return row.kind == kind; });
    if (n == 0) continue;
    out += fmt::format("{:<22}{:>9}", kind, n);
    for (const auto& one : kConclusions) {
      out += fmt::format("{:>18}",
                         count(rows, [&](const Row& row) { return row.kind == kind && row.conclusion == one.value; }));
    }
    out += '\n';
  }
  return out;
}

/// Right conclusions of a kind where its fault could be seen, and where it could not.
std::string classes(const std::vector<Row>& rows) {
  std::string out = fmt::format("{:<22}{:<38}{:<38}{}\n", "kind of session", "right where it shows (Wilson 95 %)",
                                "not-shown where it does not", "at the edge of a limit");
  for (const std::string_view kind : kinds()) {
    std::array<std::uint64_t, 3> n{};
    std::array<std::uint64_t, 3> good{};
    for (const Row& row : rows) {
      if (row.kind != kind) continue;
      const auto sight = static_cast<std::size_t>(row.expected.sight);
      ++n[sight];
      good[sight] += right(row) ? 1 : 0;
    }
    if (n[0] + n[1] + n[2] == 0) continue;
    const auto cell = [&](Sight sight) {
      const auto i = static_cast<std::size_t>(sight);
      if (n[i] == 0) return std::string("-");
      const Interval wilson = wilson_share(good[i], n[i]);
      return fmt::format("{} of {} ({:.1f} to {:.1f} %)", good[i], n[i], 100 * wilson.low, 100 * wilson.high);
    };
    out += fmt::format("{:<22}{:<38}{:<38}{}\n", kind, cell(Sight::kVisible), cell(Sight::kHidden),
                       cell(Sight::kBorderline));
  }
  return out;
}

/// Stated odds against how much more often they were stated of sessions whose lock-ups the supply caused.
std::string calibration(const std::vector<Row>& rows) {
  const auto stated = [](const Row& row) { return row.likelihood_ratio.has_value(); };
  const auto guilty = [](const Row& row) {
    return row.expected.conclusion == proto::CONCLUSION_SUPPLY_FAULTY && row.caused_lock_ups > 0 &&
           row.own_lock_ups == 0;
  };
  const std::uint64_t all_guilty = count(rows, [&](const Row& row) { return stated(row) && guilty(row); });
  const std::uint64_t all_innocent = count(rows, [&](const Row& row) { return stated(row) && is_innocent(row); });
  constexpr std::array<double, 7> kEdges = {0, 0.1, 1, 10, 100, 1e4, INFINITY};
  std::string out = fmt::format("{:<20}{:>12}{:>12}{:>24}\n", "stated odds", "caused", "innocent", "observed ratio");
  for (std::size_t i = 0; i + 1 < kEdges.size(); ++i) {
    const auto inside = [&](const Row& row) {
      return stated(row) && *row.likelihood_ratio >= kEdges[i] && *row.likelihood_ratio < kEdges[i + 1];
    };
    const std::uint64_t caused = count(rows, [&](const Row& row) { return inside(row) && guilty(row); });
    const std::uint64_t free = count(rows, [&](const Row& row) { return inside(row) && is_innocent(row); });
    std::string ratio = "-";
    if (all_guilty > 0 && all_innocent > 0 && caused + free > 0) {
      const Interval high = exact_share(caused, all_guilty);
      const Interval low = exact_share(free, all_innocent);
      ratio = fmt::format("{:.2g} to {:.2g}", high.low / low.high, low.low > 0 ? high.high / low.low : INFINITY);
    }
    out += fmt::format("{:<20}{:>12}{:>12}{:>24}\n", fmt::format("{:g} to {:g}", kEdges[i], kEdges[i + 1]), caused,
                       free, ratio);
  }
  return out + fmt::format("of {} sessions whose lock-ups the supply caused and {} innocent ones with stated odds\n",
                           all_guilty, all_innocent);
}

std::string speed(const std::vector<Row>& rows) {
  double cpu_s = 0, generated_s = 0, session_s = 0;
  for (const Row& row : rows) {
    cpu_s += row.cpu_s;
    generated_s += row.generated_cpu_s;
    session_s += row.session_s;
  }
  return fmt::format(
      "{:.1f} h of sessions: generated at {:.0f}, judged at {:.0f}, together at {:.0f} times real time\n",
      session_s / 3600, session_s / generated_s, session_s / (cpu_s - generated_s), session_s / cpu_s);
}

}  // namespace

bool right(const Row& row) {
  const bool as_shown = row.conclusion == row.expected.conclusion;
  const bool not_shown = row.conclusion == proto::CONCLUSION_NOT_SHOWN;
  const bool faulty_too = row.expected.faulty_too && row.conclusion == proto::CONCLUSION_SUPPLY_FAULTY;
  if (row.expected.sight == Sight::kVisible) return as_shown || faulty_too;
  return not_shown || faulty_too || (row.expected.sight == Sight::kBorderline && as_shown);
}

Row row_of(const std::string& kind, std::uint64_t seed, const Judged& judged, double session_s) {
  Row row;
  row.kind = kind;
  row.seed = seed;
  row.conclusion = judged.result.conclusion();
  row.expected = judged.expected;
  const proto::Evidence& evidence = judged.result.diagnosis().evidence();
  if (evidence.has_likelihood_ratio()) row.likelihood_ratio = evidence.likelihood_ratio();
  for (const LockUp& one : judged.truth.lock_ups) ++(one.own ? row.own_lock_ups : row.caused_lock_ups);
  row.cpu_s = judged.cpu_s;
  row.generated_cpu_s = judged.generated_cpu_s;
  row.session_s = session_s;
  const auto& rests_on = judged.result.diagnosis().rests_on();
  row.grounds.assign(rests_on.begin(), rests_on.end());
  return row;
}

std::string csv_of(const Row& row) {
  constexpr std::array<const char*, 3> kSight = {"hidden", "borderline", "visible"};
  return fmt::format("{},{},{},{},{},{},{},{},{:.3f}", row.kind, row.seed, word_of(row.conclusion),
                     word_of(row.expected.conclusion), kSight[static_cast<std::size_t>(row.expected.sight)],
                     row.likelihood_ratio ? fmt::format("{:.6g}", *row.likelihood_ratio) : "", row.own_lock_ups,
                     row.caused_lock_ups, row.cpu_s);
}

std::vector<Goal> goals(const std::vector<Row>& rows) {
  std::vector<Goal> out;
  const std::uint64_t innocents = count(rows, is_innocent);
  const std::vector<double> odds = innocent_odds(rows);
  if (innocents > 0) {
    const std::uint64_t accused = count(
        rows, [](const Row& row) { return is_innocent(row) && row.conclusion == proto::CONCLUSION_SUPPLY_FAULTY; });
    out.push_back({fmt::format("innocent supplies accused: {}; at most 4 of 2000", share(accused, innocents)),
                   at_most(accused, innocents, kAccusedMost, kInnocentsAsked)});
    const auto strong =
        static_cast<std::uint64_t>(std::ranges::count_if(odds, [](double x) { return x > kStrongOdds; }));
    out.push_back({fmt::format("innocent odds above 100: {}; at most 0.5 %", share(strong, odds.size())),
                   at_most(strong, odds.size(), kStrongOddsMost, kInnocentsAsked / 2)});
    const Interval mean = bootstrap_mean(odds, kSeedOfBootstrap);
    const double average = mean_of(odds);
    const Standing standing = mean.low > kMeanOddsMost            ? Standing::kMissed
                              : odds.size() < kInnocentsAsked / 2 ? Standing::kOpen
                              : average <= kMeanOddsMost          ? Standing::kMet
                                                                  : Standing::kMissed;
    out.push_back({fmt::format("mean of innocent odds: {:.3f} (bootstrap 95 % {:.3f} to {:.3f}) of {}; at most 1.1",
                               average, mean.low, mean.high, odds.size()),
                   standing});
  }
  for (const std::string_view kind : kinds()) {
    for (const Sight sight : {Sight::kVisible, Sight::kHidden}) {
      const auto of = [&](const Row& row) { return row.kind == kind && row.expected.sight == sight; };
      const std::uint64_t n = count(rows, of);
      if (n == 0) continue;
      const std::uint64_t good = count(rows, [&](const Row& row) { return of(row) && right(row); });
      const std::uint64_t all = count(rows, [&](const Row& row) { return row.kind == kind; });
      out.push_back(
          {fmt::format("{} {}: {}; at least 95 %", kind,
                       sight == Sight::kVisible ? "where it shows" : "not-shown where it does not", share(good, n)),
           at_least(good, n, kRightLeast, all >= kOfKindAsked ? std::min(n, kOfKindAsked) : kOfKindAsked)});
    }
  }
  return out;
}

std::string report(const std::vector<Row>& rows) {
  const auto is_guilty = [](const Row& row) {
    return row.expected.sight == Sight::kVisible && row.expected.conclusion != proto::CONCLUSION_NOT_SHOWN;
  };
  const std::uint64_t guilty = count(rows, is_guilty);
  const std::uint64_t missed = count(rows, [&](const Row& row) {
    return is_guilty(row) &&
           (row.conclusion == proto::CONCLUSION_NOT_SHOWN || row.conclusion == proto::CONCLUSION_NOT_TESTED);
  });
  std::string out = "SIMULATED: no real supply was measured.\n\nConfusion matrix, sessions by conclusion\n";
  out += confusion(rows);
  out += "\nConclusions by what could be seen in the jig's band\n" + classes(rows);
  out += fmt::format("\nFaults that show but were missed: {}\n", share(missed, guilty));
  out += "\nCalibration of the stated odds\n" + calibration(rows);
  out += "\nGoals\n";
  for (const Goal& goal : goals(rows)) {
    out += fmt::format("  {:<7}{}\n",
                       goal.standing == Standing::kMet    ? "met"
                       : goal.standing == Standing::kOpen ? "open"
                                                          : "MISSED",
                       goal.words);
  }
  return out + '\n' + speed(rows);
}

}  // namespace trial
