// SPDX-License-Identifier: Apache-2.0
// Serves simulated scans to the virtual jig in a thread of its own while the session runs in another.
#pragma once

#include <expected>
#include <string>
#include <thread>

#include "host/app/lock_step.h"
#include "host/simulate/serve.h"

namespace host::app {

class ScanThread {
 public:
  /// In lock-step with the session: one seed gives the same bytes. Ends one block after the session's end at
  /// `end_scan`.
  static simulate::ServeOptions in_step(LockStep& step, std::uint64_t end_scan);

  /// Begins once the session has started. References must outlive the thread.
  ScanThread(int socket, simulate::ScanSource& source, LockStep& step, simulate::ServeOptions options);

  /// Waits for the end; its error when serving failed before the session had ended.
  std::expected<void, std::string> join();

 private:
  simulate::ServeOptions options_;
  std::expected<simulate::ServeResult, std::string> result_;
  std::jthread thread_;
};

}  // namespace host::app
