// SPDX-License-Identifier: Apache-2.0
// The firmware as a child process: started for a rehearsal, ended with it, never left behind.
#pragma once

#include <sys/types.h>

#include <expected>
#include <memory>
#include <string>

namespace host::app {

class VirtualJig {
 public:
  /// Starts `program` with one end of a socket pair for scans; waits until it has announced its terminal. `mode` is
  /// "observe" or "bench", `line` "wait" or "drop". The error is a sentence for the user.
  static std::expected<std::unique_ptr<VirtualJig>, std::string> start(const std::string& program,
                                                                       const std::string& jig_id,
                                                                       const std::string& mode,
                                                                       const std::string& line);
  /// Ends the child: by closing the socket, then by signal; waits for it either way, for a bounded time.
  ~VirtualJig();
  VirtualJig(const VirtualJig&) = delete;
  VirtualJig& operator=(const VirtualJig&) = delete;

  const std::string& terminal() const { return terminal_; }
  int scan_socket() const { return scan_socket_; }

 private:
  VirtualJig() = default;
  bool wait_for_exit(int milliseconds);

  pid_t child_ = -1;
  int scan_socket_ = -1;
  std::string terminal_;
};

}  // namespace host::app
