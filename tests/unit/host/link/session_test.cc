// SPDX-License-Identifier: Apache-2.0
#include "host/link/session.h"

#include <filesystem>
#include <fstream>
#include <iterator>

#include <gtest/gtest.h>
#include <unistd.h>

#include "host/decode/review_file.h"
#include "tests/simulation/pseudo_terminal.h"
#include "tests/simulation/scripted_jig.h"
#include "tests/simulation/told.h"

namespace host::link {
namespace {

using namespace std::chrono_literals;
using namespace steadyrail::proto;
using testing_jig::PseudoTerminal;
using testing_jig::Script;
using testing_jig::ScriptedJig;
using testing_jig::Told;

class Happened : public SessionEvents {
 public:
  void hello(const Hello& said) override { hellos.push_back(said); }
  void started(std::uint64_t) override {
    ++starts;
    if (on_start) on_start();
  }
  void command_written(std::uint32_t count, const HostToJig& command) override {
    written = count;
    commands.push_back(command.command_case());
  }
  void command_refused(const HostToJig&, const Acknowledgement& answer) override { refusals.push_back(answer.refusal()); }
  void port_gone(const std::string& name) override {
    gone.push_back(name);
    if (on_gone) on_gone();
  }
  void port_back(const std::string& name) override { back.push_back(name); }
  void remark(const std::string& words) override { remarks.push_back(words); }
  void tick() override {
    if (on_tick) on_tick();
  }

  std::function<void()> on_start, on_gone, on_tick;
  std::vector<Hello> hellos;
  std::vector<HostToJig::CommandCase> commands;
  std::vector<Refusal> refusals;
  std::vector<std::string> gone, back, remarks;
  std::uint32_t written = 0;
  int starts = 0;
};

class SessionTest : public testing::Test {
 protected:
  SessionTest() {
    path_ = std::filesystem::temp_directory_path() / ("session_test_" + std::to_string(::getpid()) + ".steadyrail");
    std::filesystem::remove(path_);
    options_.configure.set_scans_per_window(32);
    options_.duration = 200ms;
    options_.times.hello_timeout = 100ms;
    options_.times.acknowledge_timeout = 100ms;
    options_.times.hello_tries = 4;
    options_.times.reconnect_every = 10ms;
    options_.times.reconnect_for = 0ms;
    options_.times.drain_quiet = 50ms;
    options_.times.drain_silence = 200ms;
    header_.mutable_jig()->set_scan_rate_hz(32'000);
  }
  ~SessionTest() override { std::filesystem::remove(path_); }

  std::expected<SessionReport, LinkError> run(const std::string& port) {
    options_.port = port;
    auto writer = record::Writer::create(path_, header_);
    EXPECT_TRUE(writer.has_value());
    Session session(options_, header_, clock_, writer->get(), decoder_, happened_);
    session_ = &session;
    return session.run();
  }

  /// What a review of the recording tells must be what the session told.
  SessionResult expect_review_agrees() {
    Told reviewed;
    const auto result = decode::review_file(path_, reviewed);
    EXPECT_TRUE(result.has_value());
    EXPECT_EQ(told_.lines(), reviewed.lines());
    return result.value_or(SessionResult());
  }

  std::filesystem::path path_;
  SessionOptions options_;
  RecordingHeader header_;
  RealClock clock_;
  Told told_;
  decode::Decoder decoder_{told_};
  Happened happened_;
  Session* session_ = nullptr;
};

TEST_F(SessionTest, RunsForItsDurationAndLeavesARecordingThatSaysTheSame) {
  PseudoTerminal terminal;
  ScriptedJig jig(terminal.master(), {});
  const auto report = run(terminal.path());
  ASSERT_TRUE(report.has_value()) << report.error().message;
  jig.end();
  EXPECT_EQ(report->end, SessionEnd::kFinished);
  const auto result = expect_review_agrees();
  EXPECT_EQ(result.session().ended(), "finished");
  EXPECT_EQ(result.coverage().scans_seen(), jig.next_scan());
  EXPECT_EQ(result.coverage().scans_expected(), jig.next_scan());
  EXPECT_EQ(result.coverage().gaps_total(), 0u);
  EXPECT_GT(jig.next_scan(), 0u);
  EXPECT_EQ(told_.windows_wrong(), 0u);
  using Case = HostToJig;
  EXPECT_EQ(happened_.commands.front(), Case::kIdentify);
  EXPECT_EQ(happened_.commands[1], Case::kConfigure);
  EXPECT_EQ(happened_.commands[2], Case::kStart);
  EXPECT_EQ(happened_.commands.back(), Case::kStop);
  EXPECT_EQ(happened_.written, happened_.commands.size());
}

}  // namespace
}  // namespace host::link
