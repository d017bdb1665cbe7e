// SPDX-License-Identifier: Apache-2.0
// The named faults a simulated supply can have.
#pragma once

#include <span>
#include <string_view>

namespace host::simulate {

struct Scenario {
  std::string_view name;         // lower case with hyphens, as the command line takes it
  std::string_view description;  // one sentence, ends with a full stop
};

/// All scenarios, the sound one first.
std::span<const Scenario> scenarios();

}  // namespace host::simulate
