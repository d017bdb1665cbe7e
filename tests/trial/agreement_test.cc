// SPDX-License-Identifier: Apache-2.0
// The event-level generator against the full chain: simulated supply scan by scan, the firmware as a virtual jig, the
// line, a recording, its review. Both play the same scenarios with the same distributions and different chances; the
// conclusions must agree, and so must the rates of events.
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <map>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "host/app/results.h"
#include "host/decode/review_file.h"
#include "host/record/reader.h"
#include "tests/trial/judged.h"

namespace trial {
namespace {

namespace proto = steadyrail::proto;

/// The result of a session through the full chain.
proto::SessionResult rehearsed(const Bench& bench, const std::string& scenario, std::uint64_t seed, int seconds) {
  const std::filesystem::path path =
      std::filesystem::temp_directory_path() / fmt::format("agree-{}-{}-{}.steadyrail", scenario, seed, getpid());
  const std::string command =
      fmt::format("'{}' rehearse --scenario {} --seed {} --for {}s --out '{}' --force > /dev/null 2>&1",
                  STEADYRAIL_PROGRAM, scenario, seed, seconds, path.string());
  EXPECT_NE(std::system(command.c_str()), -1);
  auto reader = host::record::Reader::open(path.string());
  EXPECT_TRUE(reader.has_value()) << command;
  if (!reader) return {};
  const proto::RecordingHeader header = reader->header();
  host::detect::Review review(host::app::detectors(bench.judging));
  const auto described = host::decode::review_file(path.string(), review);
  EXPECT_TRUE(described.has_value());
  std::filesystem::remove(path);
  if (!described) return {};
  auto finished = host::app::join_result(review, *described, header, bench.judging, "");
  EXPECT_TRUE(finished.has_value());
  return finished ? finished->result : proto::SessionResult{};
}

proto::SessionResult generated(const Bench& bench, const std::string& scenario, std::uint64_t seed, int seconds) {
  auto one = as_rehearsed(scenario, seed, *bench.judging.unit);
  EXPECT_TRUE(one.has_value());
  one->plan.seconds = seconds;
  auto judged = judge_case(bench, scenario, *one);
  EXPECT_TRUE(judged.has_value());
  return judged ? judged->result : proto::SessionResult{};
}

using Counts = std::map<proto::EventKind, double>;  // of all sessions together

Counts& operator+=(Counts& counts, const proto::SessionResult& result) {
  for (const auto& one : result.event_counts()) counts[one.kind()] += static_cast<double>(one.listed() + one.counted());
  return counts;
}

/// How many times as often one generator may show an event as the other: scenes last seconds, so that a few minutes
/// hold some tens of them; own choice. Rare events may besides differ by three standard deviations of their counts.
constexpr double kTimesMost = 1.35;

bool agree(double a, double b) {
  const double slack = 3 * std::sqrt(a + b + 1) * 3;  // events come in bursts of about ten
  return a <= kTimesMost * b + slack && b <= kTimesMost * a + slack;
}

void compare(const std::string& scenario, int sessions, int seconds) {
  SCOPED_TRACE(scenario);
  const auto bench = Bench::create();
  ASSERT_TRUE(bench.has_value()) << bench.error();
  Counts full, events;
  int alike = 0;
  for (int seed = 1; seed <= sessions; ++seed) {
    const auto a = rehearsed(*bench, scenario, static_cast<std::uint64_t>(seed), seconds);
    const auto b = generated(*bench, scenario, static_cast<std::uint64_t>(seed), seconds);
    full += a;
    events += b;
    alike += a.conclusion() == b.conclusion() ? 1 : 0;
    std::printf("%-22s seed %d: %s, %s\n", scenario.c_str(), seed, proto::Conclusion_Name(a.conclusion()).c_str(),
                proto::Conclusion_Name(b.conclusion()).c_str());
  }
  EXPECT_GE(alike, sessions - sessions / 5);
  for (const auto& [kind, count] : events) full[kind] += 0;
  for (const auto& [kind, count] : full) {
    std::printf("%-22s %-28s full chain %9.0f  event level %9.0f\n", scenario.c_str(),
                proto::EventKind_Name(kind).c_str(), count, events[kind]);
    EXPECT_TRUE(agree(count, events[kind])) << proto::EventKind_Name(kind);
  }
}

int sessions_asked() {
  const char* asked = std::getenv("STEADYRAIL_SESSIONS");
  return asked == nullptr ? 0 : std::atoi(asked);
}

TEST(AgreementTest, AMinuteOfAGame) {
  compare("healthy", 1, 60);
}

// Fifty sessions of five minutes, ten scenarios with five seeds each, where asked for; else half a minute of one.
TEST(AgreementTest, LongSessions) {
  const int sessions = sessions_asked();
  if (sessions == 0) return compare("intermittent-contact", 1, 30);
  for (const std::string scenario :
       {"healthy", "tired-capacitors", "weak-12v", "standby-loss", "overvoltage", "group-regulated", "loose-connector",
        "intermittent-contact", "mains-brownout", "pc-freeze"}) {
    compare(scenario, sessions, 300);
  }
}

}  // namespace
}  // namespace trial
