// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/native/virtual_jig.h"

#include <unistd.h>

#include "firmware/board/native/waiting.h"

namespace firmware {
namespace {

constexpr int kLingerMs = 5000;

}  // namespace

VirtualJig::VirtualJig(const Options& options)
    : options_(options),
      store_(options),
      scans_(options.scan_fd),
      line_(options.line),
      jig_({.transmitter = line_,
            .gates = scans_,
            .ps_on = scans_,
            .mode_link = *this,
            .watchdog = *this,
            .store = store_,
            .source = &scans_}) {}

std::string VirtualJig::serve() {
  if (!line_.open()) return line_.error();
  if (!announce()) return "the terminal's path cannot be announced";
  Step step = Step::kGoOn;
  while (step == Step::kGoOn) {
    step = wait_for_scans();
    if (step == Step::kGoOn) step = wait_for_commands();
    if (step == Step::kGoOn) step = take_block();
  }
  finish();
  return failure_;
}

bool VirtualJig::announce() {
  const std::string line = line_.path() + "\n";
  const bool written = write(options_.announce_fd, line.data(), line.size()) == static_cast<ssize_t>(line.size());
  close(options_.announce_fd);
  return written;
}

VirtualJig::Step VirtualJig::failed(const std::string& why) {
  failure_ = why;
  return Step::kFailed;
}

VirtualJig::Step VirtualJig::after_writing() {
  switch (line_.state()) {
    case TerminalLine::State::kOpen:
      return Step::kGoOn;
    case TerminalLine::State::kStopped:
      return Step::kEnd;
    case TerminalLine::State::kDead:
      break;
  }
  return failed("the host does not read its port");
}

// Returns when a whole block has been received; handles commands meanwhile.
VirtualJig::Step VirtualJig::wait_for_scans() {
  for (;;) {
    if (received_at_ < received_bytes_) handle_bytes();
    const bool blocked = !jig_.drained() && options_.line == LinePolicy::kDrop;
    const auto line_events = static_cast<short>(blocked ? POLLIN | POLLOUT : POLLIN);
    std::array<pollfd, 2> wanted{
        {{.fd = scans_.fd(), .events = POLLIN, .revents = 0}, {.fd = line_.fd(), .events = line_events, .revents = 0}}};
    if (wait_for(wanted, -1) == Waited::kStopped) return Step::kEnd;
    if (wanted[1].revents != 0) {
      handle_bytes();
      if (blocked) talk();
    }
    const Step step = after_writing();
    if (step != Step::kGoOn) return step;
    if (wanted[0].revents == 0) continue;
    switch (scans_.receive()) {
      case ScanStream::kBlock:
        return Step::kGoOn;
      case ScanStream::kBroken:
        return failed(scans_.error());
      case ScanStream::kEnded:
      case ScanStream::kStopped:
        return Step::kEnd;
    }
  }
}

VirtualJig::Step VirtualJig::wait_for_commands() {
  while (commands_due()) {
    if (received_at_ == received_bytes_) {
      const Waited waited = wait_for(line_.fd(), POLLIN, kPatienceMs);
      if (waited == Waited::kStopped) return Step::kEnd;
      if (waited == Waited::kTimeout) {
        return failed("the host sent " + std::to_string(commands_) + " of " +
                      std::to_string(scans_.commands_expected()) + " commands in time");
      }
    }
    handle_bytes();
    const Step step = after_writing();
    if (step != Step::kGoOn) return step;
  }
  return Step::kGoOn;
}

void VirtualJig::handle_bytes() {
  if (received_at_ == received_bytes_) {
    received_bytes_ = line_.take(received_);
    received_at_ = 0;
  }
  while (received_at_ < received_bytes_) {
    const bool was_running = jig_.running();
    if (!jig_.on_byte(received_[received_at_++])) continue;
    ++commands_;
    // Outside a run an answer does not wait for the next block, nor do the first frames of a run.
    if (was_running && jig_.running()) continue;
    line_.budget().set_unlimited(true);
    talk();
  }
}

VirtualJig::Step VirtualJig::take_block() {
  const ScanBlock* block = scans_.take_block();
  if (block == nullptr) return Step::kGoOn;
  jig_.on_block(*block);
  line_.budget().set_unlimited(!jig_.running());
  line_.budget().begin_block(jig_.line_bytes_per_s());
  talk();
  const Step step = after_writing();
  if (step != Step::kGoOn) return step;
  return scans_.send_outputs() ? Step::kGoOn : Step::kEnd;
}

void VirtualJig::talk() {
  while (jig_.pump()) {
  }
}

void VirtualJig::finish() {
  jig_.stop();
  line_.budget().set_unlimited(true);
  talk();
  line_.linger(kLingerMs);
}

}  // namespace firmware
