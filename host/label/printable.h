// SPDX-License-Identifier: Apache-2.0
// Words of a description that are printed again: on a terminal, in a table, in a report.
#pragma once

#include <string>
#include <string_view>

namespace host::label {

/// What is wrong with the words of `field`: a control character, which could rewrite a terminal, or more than 200
/// bytes, which no column of print holds. Empty: nothing.
std::string unprintable(std::string_view field, std::string_view words);

}  // namespace host::label
