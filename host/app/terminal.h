// SPDX-License-Identifier: Apache-2.0
// Where the program talks: results on `out`, progress and complaints on `err`. No colour and no control characters
// beyond a carriage return, and that only on a terminal.
#pragma once

#include <chrono>
#include <ostream>
#include <string>
#include <string_view>

namespace host::app {

// What the program ends with.
inline constexpr int kExitWrongUse = 2;
inline constexpr int kExitNotFinished = 3;

class Terminal {
 public:
  Terminal(std::ostream& out, std::ostream& err, bool err_is_terminal)
      : out_(out), err_(err), err_is_terminal_(err_is_terminal) {}

  std::ostream& out() { return out_; }

  /// The caution, from the one text.
  void print_caution();
  /// A complaint; returns `status` for the caller to end with.
  int complain(std::string_view message, int status = kExitWrongUse);
  /// A sentence for the user that is no complaint.
  void say(std::string_view message);
  /// A line of progress: written over the last one on a terminal; elsewhere only every ten seconds.
  void progress(std::string_view line);
  /// Ends a line of progress that stands on the terminal.
  void end_progress();

 private:
  std::ostream& out_;
  std::ostream& err_;
  bool err_is_terminal_;
  bool line_open_ = false;
  std::chrono::steady_clock::time_point last_line_{};
};

}  // namespace host::app
