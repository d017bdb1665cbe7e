// SPDX-License-Identifier: Apache-2.0
// Heartbeats of the PC under test while a session runs.
#pragma once

#include <chrono>
#include <expected>
#include <memory>
#include <string>
#include <vector>

#include "host/app/live_session.h"
#include "host/heartbeat/receiver.h"

namespace host::app {

class HeartbeatWatch : public LiveListener {
 public:
  /// `where`: PORT or PORT@ADDRESS; `token` empty: one is made up. The error is a sentence for the user.
  static std::expected<std::unique_ptr<HeartbeatWatch>, std::string> start(const std::string& where,
                                                                           const std::string& token);
  /// What to do at the PC under test, for the user.
  std::string instruction() const;
  /// For SessionOptions::notes_due.
  std::vector<steadyrail::proto::HostNote> notes_due(bool ends);
  std::vector<std::string> words() override { return receiver_->take_words(); }

 private:
  HeartbeatWatch() = default;
  std::unique_ptr<heartbeat::Receiver> receiver_;
  std::string address_;
  std::string token_;
};

}  // namespace host::app
