// SPDX-License-Identifier: Apache-2.0
// A pseudo-terminal pair: the far end of a port that is none.
#pragma once

#include <string>

namespace testing_jig {

class PseudoTerminal {
 public:
  PseudoTerminal();
  ~PseudoTerminal();
  PseudoTerminal(const PseudoTerminal&) = delete;
  PseudoTerminal& operator=(const PseudoTerminal&) = delete;

  int master() const { return master_; }
  const std::string& path() const { return path_; }
  /// As when the plug is pulled.
  void unplug();

 private:
  int master_ = -1;
  std::string path_;
};

}  // namespace testing_jig
