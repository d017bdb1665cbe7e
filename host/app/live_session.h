// SPDX-License-Identifier: Apache-2.0
// One session with a jig, recorded, decoded and judged as it runs: what a watch and a rehearsal share.
#pragma once

#include <atomic>
#include <chrono>
#include <expected>
#include <memory>
#include <string>

#include "host/app/judging.h"
#include "host/app/options.h"
#include "host/app/terminal.h"
#include "host/decode/decoder.h"
#include "host/detect/review.h"
#include "host/link/session.h"
#include "host/record/writer.h"

namespace host::app {

struct LiveSetup {
  Judging judging;
  steadyrail::proto::RecordingHeader header;
  link::SessionOptions session;
  std::string out;     // the recording; empty: none
  bool force = false;  // write over one that exists
};

/// Hears what goes on beside a session: whoever drives one or keeps in step with it. Called in the thread that runs the
/// session.
class LiveListener {
 public:
  virtual ~LiveListener() = default;
  virtual void hello(const steadyrail::proto::Hello&, std::uint32_t /*boot*/) {}
  virtual void started() {}
  virtual void command_answered(const steadyrail::proto::HostToJig&, const steadyrail::proto::Acknowledgement&) {}
  virtual void status(const steadyrail::proto::Status&) {}
  virtual void tick() {}
  virtual void command_written(std::uint32_t /*count*/, const steadyrail::proto::HostToJig&) {}
  /// About four times a second of host time: what the user should hear.
  virtual std::vector<std::string> words() { return {}; }
};

class LiveSession : public link::SessionEvents {
 public:
  /// Creates the recording. References must outlive the session; `listener` may be null. The error is for the user.
  static std::expected<std::unique_ptr<LiveSession>, std::string> create(LiveSetup setup, link::HostClock& clock,
                                                                         Terminal& terminal, LiveListener* listener);

  link::Session& session() { return *session_; }
  std::expected<link::SessionReport, link::LinkError> run() { return session_->run(); }
  /// Keeps a mark in the recording; the user is told. Any thread.
  void mark(steadyrail::proto::Mark mark);
  /// After run(): joins the result, writes the files, prints. Returns the exit status.
  int conclude_run(const link::SessionReport& report, const ResultFiles& files);

 private:
  LiveSession(LiveSetup setup, Terminal& terminal, LiveListener* listener);

  void hello(const steadyrail::proto::Hello& hello, std::uint32_t boot) override;
  void started(std::uint64_t scan) override;
  void command_written(std::uint32_t count, const steadyrail::proto::HostToJig& command) override;
  void command_answered(const steadyrail::proto::HostToJig& command,
                        const steadyrail::proto::Acknowledgement& answer) override;
  void status(const steadyrail::proto::Status& status) override;
  void command_refused(const steadyrail::proto::HostToJig& command,
                       const steadyrail::proto::Acknowledgement& answer) override;
  void port_gone(const std::string& name) override;
  void port_back(const std::string& name) override;
  void remark(const std::string& words) override;
  void tick() override;
  void say_findings();
  std::string tag() const { return simulated_ ? "simulated, " : ""; }

  LiveSetup setup_;
  Terminal& terminal_;
  LiveListener* listener_;
  detect::Review review_;
  decode::Decoder decoder_;
  std::unique_ptr<record::Writer> writer_;
  std::unique_ptr<link::Session> session_;
  bool simulated_;  // by the header, or by the jig's own word
  std::size_t findings_said_ = 0;
  std::chrono::steady_clock::time_point last_progress_{};
  std::atomic<unsigned> marks_ = 0;
  unsigned marks_told_ = 0;
};

/// Exit status of a session that could not begin: 2 where the user named something that is not there or does not fit, 3
/// otherwise.
int exit_status(link::LinkFault fault);

}  // namespace host::app
