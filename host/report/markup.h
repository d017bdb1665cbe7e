// SPDX-License-Identifier: Apache-2.0
// The few pieces of HTML a report is made of. Everything that takes text escapes it.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace host::report {

struct Cell {
  std::string text;
  std::string css = {};  // class; ours, never from outside
};

std::string paragraph(std::string_view text, std::string_view css = {});

std::string bullets(const std::vector<std::string>& items);

/// A table with its header repeated on every printed page; empty for no rows.
std::string table(const std::vector<std::string>& header, const std::vector<std::vector<Cell>>& rows);

/// Names with their values, one pair a line; pairs without a value are left out.
std::string facts(const std::vector<std::pair<std::string, std::string>>& pairs);

}  // namespace host::report
