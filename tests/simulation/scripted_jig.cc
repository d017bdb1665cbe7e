// SPDX-License-Identifier: Apache-2.0
#include "tests/simulation/scripted_jig.h"

#include <array>
#include <cerrno>
#include <chrono>
#include <utility>

#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include "proto/wire/frame.h"

namespace testing_jig {

using namespace steadyrail::proto;

namespace {

constexpr std::uint64_t kBlockScans = wire::kWindowsPerBlock * 32;
constexpr std::uint64_t kBlocksPerMark = 8;  // about 250 ms

}  // namespace

ScriptedJig::ScriptedJig(int descriptor, Script script)
    : descriptor_(descriptor),
      script_(std::move(script)),
      frames_(script_.boot, script_.last_sequence),
      next_scan_(script_.first_scan),
      running_(script_.running_at_first),
      thread_([this] { work(); }) {}

ScriptedJig::~ScriptedJig() {
  end();
}

void ScriptedJig::end() {
  ending_ = true;
  if (thread_.joinable()) thread_.join();
}

void ScriptedJig::work() {
  ::fcntl(descriptor_, F_SETFL, O_NONBLOCK);
  wire::FrameReceiver<wire::kPayloadBytesMax> receiver;
  auto next_block = std::chrono::steady_clock::now();
  while (!ending_) {
    pollfd wanted{.fd = descriptor_, .events = POLLIN, .revents = 0};
    ::poll(&wanted, 1, 1);
    if ((wanted.revents & POLLIN) != 0) {
      std::array<std::byte, 4096> buffer;
      const ssize_t got = ::read(descriptor_, buffer.data(), buffer.size());
      for (ssize_t i = 0; i < got; ++i) {
        HostToJig command;
        if (receiver.push(buffer[static_cast<std::size_t>(i)]) &&
            command.ParseFromArray(receiver.payload().data(), static_cast<int>(receiver.payload().size()))) {
          answer(command);
        }
      }
      if (got == 0) return;
    }
    const auto now = std::chrono::steady_clock::now();
    if (running_ && now >= next_block) {
      next_block = now + std::chrono::milliseconds(script_.block_every_ms);
      acquire();
    }
  }
}

void ScriptedJig::answer(const HostToJig& command) {
  commands_.push_back(command);
  if (script_.silent) return;
  if (script_.garbage) {
    send(Bytes(64, std::byte{0x55}));
    return;
  }
  Refusal refusal = command.command_case() == script_.refused ? script_.refusal : REFUSAL_NONE;
  switch (command.command_case()) {
    case HostToJig::kIdentify:
      if (script_.identifies_ignored > 0) {
        --script_.identifies_ignored;
        return;
      }
      send(frames_.acknowledgement(command.id(), next_scan_));
      send(frames_.hello(next_scan_, script_.protocol_version, script_.jig_id));
      return;
    case HostToJig::kConfigure:
    case HostToJig::kArm:
      if (running_) refusal = REFUSAL_RUNNING;
      break;
    case HostToJig::kStart:
      if (refusal == REFUSAL_NONE) running_ = true;
      break;
    case HostToJig::kStop:
      if (!running_) refusal = REFUSAL_NOT_RUNNING;
      break;
    default:
      break;
  }
  if (script_.answers_lost > 0) {
    --script_.answers_lost;
  } else {
    send(frames_.acknowledgement(command.id(), next_scan_, refusal));
  }
  if (command.command_case() == HostToJig::kStop && running_) {
    running_ = false;
    send(frames_.status(next_scan_, false));
  }
}

void ScriptedJig::acquire() {
  if (script_.blocks_most != 0 && blocks_sent_ >= script_.blocks_most) return;
  if (script_.restart_after != 0 && blocks_sent_ >= script_.restart_after) {
    script_.restart_after = 0;
    running_ = false;
    next_scan_ = 0;
    frames_ = JigFrames(++script_.boot);
    send(frames_.log(1));
    return;
  }
  if (blocks_sent_ % kBlocksPerMark == 0) send(join({frames_.time_mark(next_scan_), frames_.status(next_scan_, true)}));
  const std::uint64_t first = next_scan_;
  next_scan_ = first + kBlockScans;
  send(frames_.windows(first));
  ++blocks_sent_;
}

void ScriptedJig::send(const Bytes& said) {
  const Bytes bytes = script_.line ? script_.line(said) : said;
  std::size_t done = 0;
  while (done < bytes.size() && !ending_) {
    // A host that no longer reads must not hold the jig for ever.
    pollfd wanted{.fd = descriptor_, .events = POLLOUT, .revents = 0};
    ::poll(&wanted, 1, 10);
    const ssize_t taken = ::write(descriptor_, bytes.data() + done, bytes.size() - done);
    if (taken > 0) {
      done += static_cast<std::size_t>(taken);
    } else if (errno != EINTR && errno != EAGAIN) {
      return;
    }
  }
}

}  // namespace testing_jig
