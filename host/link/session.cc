// SPDX-License-Identifier: Apache-2.0
#include "host/link/session.h"

#include "host/link/session_run.h"

namespace host::link {

SessionTimes SessionTimes::patient() {
  constexpr std::chrono::seconds kPatience{20};
  SessionTimes times;
  times.hello_timeout = kPatience;
  times.hello_tries = 1;
  times.acknowledge_timeout = kPatience;
  times.command_tries = 1;
  times.drain_silence = kPatience;
  times.drain_most = 3 * kPatience;
  times.reconnect_for = std::chrono::milliseconds{0};
  return times;
}

std::string_view to_string(SessionEnd end) {
  switch (end) {
    case SessionEnd::kFinished:
      return "finished";
    case SessionEnd::kInterrupted:
      return "interrupted";
    case SessionEnd::kPortGone:
      return "port-gone";
    case SessionEnd::kDiskFull:
      return "disk-full";
  }
  return "";
}

Session::Session(SessionOptions options, const steadyrail::proto::RecordingHeader& header, HostClock& clock,
                 record::Writer* writer, decode::Decoder& decoder, SessionEvents& events)
    : run_(std::make_unique<Run>(std::move(options), header, clock, writer, decoder, events)) {}

Session::~Session() = default;

std::expected<SessionReport, LinkError> Session::run() {
  return run_->run();
}
void Session::request(steadyrail::proto::HostToJig command) {
  run_->request(std::move(command));
}
void Session::request_keep_alive() {
  run_->request_keep_alive();
}
void Session::request_stop() {
  run_->request_stop();
}
void Session::add_mark(steadyrail::proto::Mark mark) {
  run_->add_mark(std::move(mark));
}

}  // namespace host::link
