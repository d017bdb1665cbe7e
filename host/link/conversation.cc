// SPDX-License-Identifier: Apache-2.0
#include "host/link/conversation.h"

#include "host/link/session_run.h"

namespace host::link {

namespace proto = steadyrail::proto;

std::expected<proto::Acknowledgement, LinkError> Session::Run::at_rest(const Command& asked) {
  auto answer = command(asked);
  if (!answer || answer->refusal() != proto::REFUSAL_RUNNING) return answer;
  Command stop;
  stop.mutable_stop();
  if (auto stopped = command(stop); !stopped) return stopped;
  return command(asked);
}

std::expected<KeptCalibration, LinkError> Session::Run::read_calibration() {
  kept_.reset();
  Command read;
  read.mutable_read_calibration();
  const auto answer = command(read);
  if (!answer) return std::unexpected(answer.error());
  // A jig from before calibrations were kept does not know the command.
  if (answer->refusal() != proto::REFUSAL_NONE) return KeptCalibration{};
  const Waited waited = wait([this] { return kept_.has_value(); }, Clock::now() + options_.times.acknowledge_timeout);
  if (waited == Waited::kDone) return *kept_;
  return std::unexpected(error(LinkFault::kSilent, "the jig does not tell its calibration"));
}

std::expected<Conversation, LinkError> Session::Run::converse(std::vector<Command> commands) {
  if (auto greeted = greet(options_.port); !greeted) return std::unexpected(greeted.error());
  Conversation out;
  for (const Command& asked : commands) {
    const auto answer = at_rest(asked);
    if (!answer) return std::unexpected(answer.error());
    out.answers.push_back(*answer);
    if (answer->refusal() != proto::REFUSAL_NONE) break;
  }
  if (!commands.empty()) {
    hello_.reset();
    if (auto known = identify(); !known) return std::unexpected(known.error());
  }
  const auto kept = read_calibration();
  if (!kept) return std::unexpected(kept.error());
  out.calibration = *kept;
  out.hello = *hello_;
  out.frames_written = frames_written_;
  close_port();
  return out;
}

std::expected<Conversation, LinkError> converse(const SessionOptions& options, std::vector<proto::HostToJig> commands) {
  decode::Sink nobody;
  decode::Decoder decoder(nobody);
  SessionEvents events;
  RealClock clock;
  Session session(options, {}, clock, nullptr, decoder, events);
  auto said = session.run_->converse(std::move(commands));
  if (said || !options.stop.stop_requested()) return said;
  return std::unexpected(LinkError{
      LinkFault::kStopped, options.port + ": stopped before the jig had begun to measure: nothing was recorded"});
}

}  // namespace host::link
