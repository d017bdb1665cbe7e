// SPDX-License-Identifier: Apache-2.0
#include "host/app/live_session.h"

#include <filesystem>

#include <fmt/format.h>

#include "host/app/results.h"
#include "host/report/words.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr std::chrono::seconds kProgressEvery{1};

}  // namespace

LiveSession::LiveSession(LiveSetup setup, Terminal& terminal, LiveListener* listener)
    : setup_(std::move(setup)),
      terminal_(terminal),
      listener_(listener),
      review_(detectors(setup_.judging)),
      decoder_(review_),
      simulated_(setup_.header.simulated()) {}

std::expected<std::unique_ptr<LiveSession>, std::string> LiveSession::create(LiveSetup setup, link::HostClock& clock,
                                                                             Terminal& terminal,
                                                                             LiveListener* listener) {
  std::unique_ptr<LiveSession> live(new LiveSession(std::move(setup), terminal, listener));
  if (!live->setup_.out.empty()) {
    std::error_code fault;
    // Only what a recording could be is ever removed; a folder or a device stays, and creating complains.
    if (live->setup_.force && std::filesystem::is_regular_file(live->setup_.out, fault)) {
      std::filesystem::remove(live->setup_.out, fault);
    }
    auto writer = record::Writer::create(live->setup_.out, live->setup_.header);
    if (!writer) {
      const bool exists = writer.error().fault == record::RecordFault::kExists;
      return std::unexpected(writer.error().message + (exists ? "; --force writes over it" : ""));
    }
    live->writer_ = std::move(*writer);
    live->setup_.header = live->writer_->header();
  }
  live->session_ = std::make_unique<link::Session>(live->setup_.session, live->setup_.header, clock,
                                                   live->writer_.get(), live->decoder_, *live);
  return live;
}

int LiveSession::conclude_run(const link::SessionReport& report, const ResultFiles& files) {
  terminal_.end_progress();
  say_findings();
  proto::SessionResult described;
  decoder_.describe(described);
  const auto finished = join_result(review_, described, setup_.header, setup_.judging, setup_.out);
  if (!finished) return terminal_.complain(finished.error(), kExitNotFinished);
  const int status = conclude(terminal_, *finished, setup_.judging, files, setup_.out);
  switch (report.end) {
    case link::SessionEnd::kPortGone:
      return terminal_.complain(fmt::format("{}: the port went and did not come back; the result stands for what was "
                                            "seen until then",
                                            setup_.session.port),
                                kExitNotFinished);
    case link::SessionEnd::kDiskFull:
      return terminal_.complain(
          fmt::format("{}: the disk was full; {} of the session are not in the recording, which is "
                      "whole up to there",
                      setup_.out, report::counted(report.recording.bytes_lost, "byte")),
          kExitNotFinished);
    case link::SessionEnd::kFinished:
    case link::SessionEnd::kInterrupted:
      break;
  }
  return status;
}

void LiveSession::hello(const proto::Hello& hello, std::uint32_t boot) {
  simulated_ = simulated_ || hello.simulated();
  terminal_.say(
      fmt::format("jig {}, firmware {}{}", hello.jig_id(), hello.firmware(), simulated_ ? ", simulated" : ""));
  if (listener_ != nullptr) listener_->hello(hello, boot);
}

void LiveSession::command_answered(const proto::HostToJig& command, const proto::Acknowledgement& answer) {
  if (listener_ != nullptr) listener_->command_answered(command, answer);
}

void LiveSession::status(const proto::Status& status) {
  if (listener_ != nullptr) listener_->status(status);
}

void LiveSession::started(std::uint64_t /*scan*/) {
  if (listener_ != nullptr) listener_->started();
}

void LiveSession::command_written(std::uint32_t count, const proto::HostToJig& command) {
  if (listener_ != nullptr) listener_->command_written(count, command);
}

void LiveSession::command_refused(const proto::HostToJig& command, const proto::Acknowledgement& answer) {
  terminal_.say(fmt::format("the jig refuses command {}: {}", command.id(), report::word(answer.refusal())));
}

void LiveSession::port_gone(const std::string& name) {
  terminal_.say(fmt::format("{}: the port is gone; waiting for it to come back", name));
}

void LiveSession::port_back(const std::string& name) {
  terminal_.say(fmt::format("{}: the port is back", name));
}

void LiveSession::remark(const std::string& words) {
  terminal_.say(words);
}

// A wrong rail on a plug is worth hearing of while the switch at the outlet is still at hand.
void LiveSession::say_findings() {
  const auto findings = review_.channel_findings();
  for (; findings_said_ < findings.size(); ++findings_said_) {
    terminal_.say(fmt::format("{}check the wiring: {}", tag(), findings[findings_said_].words));
  }
}

void LiveSession::mark(proto::Mark mark) {
  session_->add_mark(std::move(mark));
  ++marks_;
}

void LiveSession::tick() {
  if (listener_ != nullptr) listener_->tick();
  say_findings();
  if (const unsigned marks = marks_; marks != marks_told_) {
    terminal_.say(fmt::format("lock-up {} is marked", marks));
    marks_told_ = marks;
  }
  if (listener_ != nullptr) {
    for (const std::string& words : listener_->words()) terminal_.say(words);
  }
  const auto now = std::chrono::steady_clock::now();
  if (now - last_progress_ < kProgressEvery) return;
  last_progress_ = now;
  const proto::Coverage coverage = decoder_.coverage();
  const double rate = setup_.header.jig().scan_rate_hz();
  terminal_.progress(fmt::format("{}{} of session, {}, {} lost, {}", tag(),
                                 report::time_span(static_cast<double>(decoder_.end_scan()) / rate),
                                 report::counted(coverage.frames(), "frame"),
                                 report::counted(coverage.scans_expected() - coverage.scans_seen(), "scan"),
                                 report::counted(review_.excursions(), "excursion")));
}

int exit_status(link::LinkFault fault) {
  switch (fault) {
    case link::LinkFault::kName:
    case link::LinkFault::kNotThere:
    case link::LinkFault::kBusy:
    case link::LinkFault::kPermission:
    case link::LinkFault::kNotAJig:
    case link::LinkFault::kOtherJig:
    case link::LinkFault::kVersion:
      return kExitWrongUse;
    case link::LinkFault::kRefused:
    case link::LinkFault::kSilent:
    case link::LinkFault::kGone:
    case link::LinkFault::kStopped:
    case link::LinkFault::kIo:
      break;
  }
  return kExitNotFinished;
}

}  // namespace host::app
