// SPDX-License-Identifier: Apache-2.0
// Keeps a session and the simulated supply in step: the supply's thread asks for the session's commands, and tells the
// jig how many to wait for, so that one seed gives one recording however fast either runs.
#pragma once

#include <atomic>
#include <condition_variable>
#include <cstdint>
#include <expected>
#include <functional>
#include <mutex>
#include <optional>
#include <string>

#include "host/app/live_session.h"

namespace host::app {

class LockStep : public LiveListener {
 public:
  /// The session is stopped before the block that begins at `end_scan`, a multiple of simulate::kHookInterval.
  /// `commands_before`: that the jig has had before the session.
  explicit LockStep(std::uint64_t end_scan, std::uint32_t commands_before = 0)
      : end_scan_(end_scan), commands_before_(commands_before) {}

  /// What is to be sent before the block that begins at a scan, and whether the session ends there.
  struct Due {
    std::optional<steadyrail::proto::HostToJig> command;
    bool over = false;
  };

  // Before the session runs.
  void attach(link::Session& session) { session_ = &session; }
  /// `due` is asked in the supply's thread, each half second of device time but the first.
  void ask(std::function<Due(std::uint64_t first_scan)> due) { due_ = std::move(due); }

  // In the session's thread.
  void started() override;
  void command_written(std::uint32_t count, const steadyrail::proto::HostToJig& command) override;
  /// The session is over, well or not: nobody waits any longer.
  void session_over();

  // In the supply's thread.
  /// Waits until the jig runs; false: the session ended first.
  bool wait_for_start();
  /// Asks for the keep-alive or stop that belongs before `first_scan` and returns the number of commands sent by then.
  std::expected<std::uint32_t, std::string> before_scan(std::uint64_t first_scan);

  /// Ends the session: there are no more scans.
  void request_stop() { session_->request_stop(); }

  /// Set once the jig has been told to stop: serving ends after the block under way.
  const std::atomic<bool>& stop_serving() const { return stop_serving_; }

 private:
  std::uint64_t end_scan_;
  std::uint32_t commands_before_;
  link::Session* session_ = nullptr;
  std::function<Due(std::uint64_t)> due_;
  std::mutex mutex_;
  std::condition_variable changed_;
  bool started_ = false;  // guarded by mutex_, as the next five
  bool over_ = false;
  bool stop_sent_ = false;
  std::uint64_t others_ = 0;
  std::uint32_t commands_ = 0;
  std::uint64_t keep_alives_ = 0;
  std::atomic<bool> stop_serving_{false};
};

}  // namespace host::app
