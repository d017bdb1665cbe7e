// SPDX-License-Identifier: Apache-2.0
// Lines typed by the user, without missing Ctrl-C while waiting for one.
#pragma once

#include <optional>
#include <stop_token>
#include <string>

namespace host::app {

class LineInput {
 public:
  LineInput(int descriptor, std::stop_token stop) : descriptor_(descriptor), stop_(std::move(stop)) {}
  /// Nothing: the input has ended, or a stop was asked for. At most 4096 bytes a line; the rest of it is dropped.
  std::optional<std::string> next();

 private:
  int descriptor_;
  std::stop_token stop_;
  std::string held_;
  bool ended_ = false;
};

}  // namespace host::app
