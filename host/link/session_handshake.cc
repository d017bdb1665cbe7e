// SPDX-License-Identifier: Apache-2.0
// From a port's name to a running jig.
#include "host/link/session_run.h"
#include "host/link/words.h"
#include "proto/wire/frame.h"

namespace host::link {

namespace proto = steadyrail::proto;

std::expected<void, LinkError> Session::Run::greet(const std::string& name) {
  close_port();
  port_name_ = name;
  gone_ = false;
  frames_written_ = 0;
  hello_.reset();
  watch_.reset();
  auto opened = open_port(context_, name, options_.settings);
  if (!opened) return std::unexpected(opened.error());
  port_ = std::move(*opened);
  port_->start_reading([this](Arrival arrival, std::span<const std::byte> bytes) { on_read(arrival, bytes); });
  auto known = identify();
  if (known) known = check_hello();
  if (!known) {
    close_port();
    return known;
  }
  events_.hello(*hello_, watch_.boot().value_or(0));
  note_port(proto::PORT_STATE_OPENED);
  tape_.wire(unproven_);
  unproven_.clear();
  taping_ = true;
  return {};
}

std::expected<void, LinkError> Session::Run::identify() {
  Command asked;
  asked.mutable_identify();
  for (std::uint32_t tries = 0; tries < options_.times.hello_tries; ++tries) {
    asked.set_id(next_id_++);
    send(asked);
    const Waited waited = wait([this] { return hello_.has_value(); }, Clock::now() + options_.times.hello_timeout);
    if (waited == Waited::kDone) return {};
    if (waited == Waited::kGone) {
      return std::unexpected(error(LinkFault::kGone, "the port closed while the jig was asked who it is"));
    }
    if (waited == Waited::kStopped) return std::unexpected(error(LinkFault::kNotAJig, "stopped"));
  }
  if (watch_.bytes() == 0)
    return std::unexpected(error(LinkFault::kNotAJig, "nothing answers; is this the jig's port?"));
  return std::unexpected(
      error(LinkFault::kNotAJig, std::to_string(watch_.bytes()) +
                                     " bytes came, but no hello of a jig among them: another device, "
                                     "or another speed than " +
                                     std::to_string(options_.settings.baud) + " baud"));
}

std::expected<void, LinkError> Session::Run::check_hello() {
  if (hello_->protocol_version() == 0) {
    return std::unexpected(error(LinkFault::kVersion, "the jig names no protocol version; this program speaks " +
                                                          std::to_string(wire::kProtocolVersion)));
  }
  const std::string& wanted = jig_id_.empty() ? options_.jig_id : jig_id_;
  if (!wanted.empty() && hello_->jig_id() != wanted) {
    return std::unexpected(error(LinkFault::kOtherJig, "this is jig " + hello_->jig_id() + ", not " + wanted));
  }
  if (hello_->protocol_version() != wire::kProtocolVersion) {
    events_.remark("the jig speaks protocol " + std::to_string(hello_->protocol_version()) + ", this program " +
                   std::to_string(wire::kProtocolVersion) + ": what both understand is used");
  }
  return {};
}

std::expected<proto::Acknowledgement, LinkError> Session::Run::require(const Command& asked) {
  auto answer = command(asked);
  if (!answer || answer->refusal() == proto::REFUSAL_NONE) return answer;
  const bool foreign = hello_ && hello_->protocol_version() != wire::kProtocolVersion;
  return std::unexpected(error(foreign ? LinkFault::kVersion : LinkFault::kRefused, refusal_words(asked, *answer)));
}

std::expected<void, LinkError> Session::Run::begin_measuring() {
  Command configure;
  *configure.mutable_configure() = options_.configure;
  auto answer = command(configure);
  if (answer && answer->refusal() == proto::REFUSAL_RUNNING) {
    // An earlier host left it running, or this one before the port went.
    Command stop;
    stop.mutable_stop();
    if (auto stopped = command(stop); !stopped) return std::unexpected(stopped.error());
    answer = require(configure);
  } else if (answer && answer->refusal() != proto::REFUSAL_NONE) {
    answer = require(configure);
  }
  if (!answer) return std::unexpected(answer.error());
  if (options_.arm) {
    Command arm;
    *arm.mutable_arm() = *options_.arm;
    if (answer = require(arm); !answer) return std::unexpected(answer.error());
  }
  Command start;
  start.mutable_start();
  if (answer = require(start); !answer) return std::unexpected(answer.error());
  running_ = true;
  last_status_seen_ = false;
  boot_ = watch_.boot();
  events_.started(answer->scan());
  return {};
}

}  // namespace host::link
