// SPDX-License-Identifier: Apache-2.0
// "Did you mean": the known word nearest to a mistyped one.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace host::app {

/// The word that takes the fewest insertions, deletions and replacements; empty when none is near enough to be meant
/// (more than a third of its letters would change).
std::string nearest(std::string_view wrong, const std::vector<std::string>& known);

/// A sentence about an unknown `what`: names the nearest known one, or all of them.
std::string unknown_word(std::string_view what, std::string_view wrong, const std::vector<std::string>& known);

}  // namespace host::app
