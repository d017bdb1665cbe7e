// SPDX-License-Identifier: Apache-2.0
// A session with short time-outs, recorded in a temporary file, and what happened in it.
#pragma once

#include <chrono>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "host/link/session.h"
#include "result.pb.h"
#include "tests/simulation/told.h"

namespace host::link {

class Happened : public SessionEvents {
 public:
  void hello(const steadyrail::proto::Hello& said, std::uint32_t /*boot*/) override { hellos.push_back(said); }
  void started(std::uint64_t) override {
    ++starts;
    if (on_start) on_start();
  }
  void command_written(std::uint32_t count, const steadyrail::proto::HostToJig& command) override {
    written = count;
    commands.push_back(command.command_case());
  }
  void command_refused(const steadyrail::proto::HostToJig&, const steadyrail::proto::Acknowledgement& answer) override {
    refusals.push_back(answer.refusal());
    if (on_refused) on_refused();
  }
  void port_gone(const std::string& name) override {
    gone.push_back(name);
    if (on_gone) on_gone();
  }
  void port_back(const std::string& name) override {
    back.push_back(name);
    if (on_back) on_back();
  }
  void remark(const std::string& words) override { remarks.push_back(words); }

  std::function<void()> on_start, on_refused, on_gone, on_back;
  std::vector<steadyrail::proto::Hello> hellos;
  std::vector<int> commands;  // HostToJig::CommandCase, as written
  std::vector<steadyrail::proto::Refusal> refusals;
  std::vector<std::string> gone, back, remarks;
  std::uint32_t written = 0;
  int starts = 0;
};

class SessionTest : public testing::Test {
 protected:
  SessionTest();
  ~SessionTest() override;

  std::expected<SessionReport, LinkError> run(const std::string& port);
  /// Runs what must fail before it starts; no file may be left.
  LinkError error_of(const std::string& port);
  /// What a review of the recording tells must be what the session told.
  steadyrail::proto::SessionResult expect_review_agrees();

  std::filesystem::path path_;
  SessionOptions options_;
  steadyrail::proto::RecordingHeader header_;
  RealClock clock_;
  testing_jig::Told told_;
  decode::Decoder decoder_{told_};
  Happened happened_;
  Session* session_ = nullptr;  // while run() runs
};

}  // namespace host::link
