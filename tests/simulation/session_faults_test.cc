// SPDX-License-Identifier: Apache-2.0
// Whole sessions over a pseudo-terminal with a faulty line, a port that may go, and a stop at any moment: each ends in
// order, and a review of its recording tells exactly what the session told.
#include <filesystem>
#include <random>
#include <thread>

#include <gtest/gtest.h>
#include <unistd.h>

#include "host/decode/review_file.h"
#include "host/link/session.h"
#include "tests/simulation/fault_line.h"
#include "tests/simulation/pseudo_terminal.h"
#include "tests/simulation/scripted_jig.h"
#include "tests/simulation/seeds.h"
#include "tests/simulation/told.h"

namespace testing_jig {
namespace {

using namespace std::chrono_literals;
using namespace host::link;

class SessionUnderFaults {
 public:
  explicit SessionUnderFaults(std::uint64_t seed)
      : random_(seed),
        line_(seed, {.frame_lost = 10, .frame_doubled = 10, .bit_flipped = 10, .bytes_lost = 5, .noise_added = 5}),
        path_(std::filesystem::temp_directory_path() / ("faults_" + std::to_string(::getpid()) + ".steadyrail")) {
    std::filesystem::remove(path_);
  }
  ~SessionUnderFaults() { std::filesystem::remove(path_); }

  void run() {
    Script script;
    script.restart_after = random_() % 3 == 0 ? 10 + random_() % 40 : 0;
    script.block_every_ms = 1;
    script.line = [this](const Bytes& said) { return line_.carry(said); };
    ScriptedJig jig(terminal_.master(), script);
    const bool unplugged = random_() % 3 == 0;
    const auto ends_after = std::chrono::milliseconds(random_() % 400);
    std::stop_source stop;
    std::thread fate([&] {
      std::this_thread::sleep_for(ends_after);
      if (!unplugged) {
        stop.request_stop();
        return;
      }
      jig.end();
      terminal_.unplug();
    });
    host_side(stop.get_token());
    fate.join();
  }

 private:
  void host_side(std::stop_token stop) {
    SessionOptions options;
    options.port = terminal_.path();
    options.stop = std::move(stop);
    options.times.acknowledge_timeout = 100ms;
    options.times.hello_timeout = 100ms;
    options.times.hello_tries = 20;
    options.times.command_tries = 20;
    options.times.reconnect_for = 0ms;
    options.times.drain_quiet = 30ms;
    options.times.drain_silence = 100ms;
    steadyrail::proto::RecordingHeader header;
    auto writer = host::record::Writer::create(path_, header);
    ASSERT_TRUE(writer.has_value());
    RealClock clock;
    SessionEvents events;
    Told told;
    host::decode::Decoder decoder(told);
    const auto report = Session(options, header, clock, writer->get(), decoder, events).run();
    writer->reset();
    if (!report) {
      EXPECT_FALSE(std::filesystem::exists(path_)) << report.error().message;
      return;
    }
    Told reviewed;
    const auto result = host::decode::review_file(path_, reviewed);
    ASSERT_TRUE(result.has_value());
    EXPECT_EQ(reviewed.lines(), told.lines());
    EXPECT_TRUE(told.in_order());
    EXPECT_EQ(result->session().ended(), to_string(report->end));
    std::uint64_t missing = 0;
    for (const auto& gap : told.gaps()) missing += gap.to_scan - gap.from_scan;
    EXPECT_EQ(result->coverage().scans_seen(), told.scans_seen());
    EXPECT_EQ(result->coverage().scans_expected(), told.scans_seen() + missing);
  }

  std::mt19937_64 random_;
  FaultLine line_;
  std::filesystem::path path_;
  PseudoTerminal terminal_;
};

TEST(SessionFaultsTest, EveryEndIsInOrderAndAReviewTellsTheSame) {
  for (std::uint64_t seed = 1; seed <= seeds(25); ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    SessionUnderFaults(seed).run();
    if (testing::Test::HasFailure()) return;
  }
}

}  // namespace
}  // namespace testing_jig
