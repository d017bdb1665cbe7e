// SPDX-License-Identifier: Apache-2.0
#include "host/app/lock_step.h"

#include <chrono>

namespace host::app {
namespace {

constexpr std::chrono::seconds kPatience{10};

}  // namespace

void LockStep::started() {
  const std::lock_guard lock(mutex_);
  started_ = true;
  changed_.notify_all();
}

void LockStep::command_written(std::uint32_t count, const steadyrail::proto::HostToJig& command) {
  const std::lock_guard lock(mutex_);
  commands_ = count;
  if (command.has_keep_alive()) {
    ++keep_alives_;
  } else if (command.has_stop()) {
    stop_sent_ = true;
  } else {
    ++others_;
  }
  changed_.notify_all();
}

void LockStep::session_over() {
  const std::lock_guard lock(mutex_);
  over_ = true;
  stop_serving_ = true;
  changed_.notify_all();
}

bool LockStep::wait_for_start() {
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [this] { return started_ || over_; });  // the session's own time-outs bound this
  return started_ && !over_;
}

std::expected<std::uint32_t, std::string> LockStep::before_scan(std::uint64_t first_scan) {
  const Due due = due_ && first_scan > 0 ? due_(first_scan) : Due{};
  std::unique_lock lock(mutex_);
  if (due.command && !stop_sent_ && !over_) {
    const std::uint64_t others = others_;
    lock.unlock();
    session_->request(*due.command);
    lock.lock();
    const bool sent = changed_.wait_for(lock, kPatience, [&] { return over_ || stop_sent_ || others_ > others; });
    if (!sent) return std::unexpected("the session sent no command in time");
  }
  const std::uint64_t keep_alives = keep_alives_;
  const bool ends = first_scan >= end_scan_ || due.over;
  if (!stop_sent_ && !over_ && first_scan > 0) {
    lock.unlock();
    if (ends) {
      session_->request_stop();
    } else {
      session_->request_keep_alive();
    }
    lock.lock();
    const bool sent = changed_.wait_for(lock, kPatience,
                                        [&] { return over_ || stop_sent_ || (!ends && keep_alives_ > keep_alives); });
    if (!sent) return std::unexpected("the session sent no command in time");
  }
  if (over_) return std::unexpected("the session is over");
  if (stop_sent_) stop_serving_ = true;
  return commands_before_ + commands_;
}

}  // namespace host::app
