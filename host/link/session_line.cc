// SPDX-License-Identifier: Apache-2.0
// One port, one command at a time.
#include "host/link/session_run.h"
#include "host/link/words.h"
#include "proto/wire/frame.h"

namespace host::link {
namespace {

// More than a jig says during a handshake; a foreign device may talk without end.
constexpr std::size_t kUnprovenBytesMax = std::size_t{1} << 20;

}  // namespace

LinkError Session::Run::error(LinkFault fault, const std::string& words) const {
  return LinkError{fault, port_name_ + ": " + words};
}

Session::Run::Waited Session::Run::wait(const std::function<bool()>& done, Clock::time_point deadline) {
  for (;;) {  // ends with the deadline
    if (done()) return Waited::kDone;
    if (gone_) return Waited::kGone;
    if (!ending_ && stopping()) return Waited::kStopped;
    if (Clock::now() >= deadline) return Waited::kTimeout;
    context_.restart();
    context_.run_one_until(deadline);
  }
}

void Session::Run::on_read(Arrival arrival, std::span<const std::byte> bytes) {
  if (arrival == Arrival::kGone) {
    gone_ = true;
    return;
  }
  last_bytes_at_ = Clock::now();
  bytes_received_ += bytes.size();
  if (taping_) {
    tape_.wire(bytes);
  } else if (unproven_.size() + bytes.size() <= kUnprovenBytesMax) {
    unproven_.insert(unproven_.end(), bytes.begin(), bytes.end());
  }
  watch_.feed(bytes);
}

void Session::Run::send(const Command& command) {
  if (!port_ || gone_) return;
  const std::string payload = command.SerializeAsString();
  std::vector<std::byte> frame(wire::cobs_bytes_max(payload.size() + wire::kCrcBytes) + 2);
  // A delimiter first: whatever reached the jig before, noise or half a frame, ends there.
  frame[0] = wire::kDelimiter;
  const std::size_t bytes = wire::encode_frame(std::as_bytes(std::span(payload)), std::span(frame).subspan(1));
  frame.resize(bytes + 1);
  port_->write(std::move(frame), [this, command](bool sound) {
    if (!sound) {
      gone_ = true;
      return;
    }
    ++frames_written_;
    events_.command_written(frames_written_, command);
  });
}

std::expected<steadyrail::proto::Acknowledgement, LinkError> Session::Run::command(Command command) {
  command.set_id(next_id_++);
  awaited_id_ = command.id();
  acknowledgement_.reset();
  for (std::uint32_t tries = 0; tries < options_.times.command_tries; ++tries) {
    send(command);
    const Waited waited =
        wait([this] { return acknowledgement_.has_value(); }, Clock::now() + options_.times.acknowledge_timeout);
    if (waited == Waited::kDone) return *acknowledgement_;
    if (waited == Waited::kGone) return std::unexpected(error(LinkFault::kGone, "the port has gone"));
    if (waited == Waited::kStopped) return std::unexpected(error(LinkFault::kSilent, "stopped"));
  }
  return std::unexpected(error(LinkFault::kSilent, "the jig does not acknowledge " + command_word(command) + " (" +
                                                       std::to_string(options_.times.command_tries) + " tries)"));
}

void Session::Run::close_port() {
  port_.reset();
  taping_ = false;
  unproven_.clear();
}

}  // namespace host::link
