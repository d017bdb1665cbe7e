// SPDX-License-Identifier: Apache-2.0
// The order of hooking up, step by step: what to do, the user's word that it is done, and what the jig reads then.
#pragma once

#include <expected>
#include <functional>
#include <optional>
#include <stop_token>
#include <string>

#include "hook_up.pb.h"
#include "host/app/terminal.h"
#include "host/detect/hook_up_levels.h"

namespace host::app {

/// Reads all inputs for about a second. The error is a sentence for the user.
using ReadLevels = std::function<std::expected<detect::LevelMeter, std::string>()>;

class HookUp {
 public:
  static constexpr std::size_t kSteps = 4;
  static constexpr std::uint32_t kTriesMost = 20;

  /// `input`: a descriptor whose lines are the user's word; `jig` and `terminal` must outlive this.
  HookUp(const model::Jig& jig, int input, Terminal& terminal, ReadLevels read_levels, std::stop_token stop);

  /// Goes through all steps. A step whose readings are wrong is named and asked for again. The error (no more input,
  /// stopped, the jig cannot be read, too many tries) is a sentence for the user: nothing may be recorded.
  std::expected<steadyrail::proto::HookUp, std::string> run();

 private:
  std::expected<void, std::string> step(std::size_t index, steadyrail::proto::HookUpStep& out);
  std::optional<std::string> line();

  const model::Jig& jig_;
  int input_;
  Terminal& terminal_;
  ReadLevels read_levels_;
  std::stop_token stop_;
};

/// The order in words, for who cannot be asked.
std::string hook_up_order();

/// How the order was confirmed, for the report.
std::string hook_up_words(const steadyrail::proto::HookUp& done, bool declared);

}  // namespace host::app
