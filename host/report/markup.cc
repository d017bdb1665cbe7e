// SPDX-License-Identifier: Apache-2.0
#include "host/report/markup.h"

#include <fmt/format.h>

#include "host/report/escape.h"

namespace host::report {
namespace {

std::string class_of(std::string_view css) {
  return css.empty() ? "" : fmt::format(" class=\"{}\"", css);
}

}  // namespace

std::string paragraph(std::string_view text, std::string_view css) {
  return fmt::format("<p{}>{}</p>\n", class_of(css), html(text));
}

std::string bullets(const std::vector<std::string>& items) {
  if (items.empty()) return "";
  std::string out = "<ul>\n";
  for (const std::string& item : items) out += fmt::format("<li>{}</li>\n", html(item));
  return out + "</ul>\n";
}

std::string table(const std::vector<std::string>& header, const std::vector<std::vector<Cell>>& rows) {
  if (rows.empty()) return "";
  std::string out = "<table>\n<thead><tr>";
  for (const std::string& name : header) out += fmt::format("<th scope=\"col\">{}</th>", html(name));
  out += "</tr></thead>\n<tbody>\n";
  for (const auto& row : rows) {
    out += "<tr>";
    // The text in an element of its own: a mark is drawn around the word, not around the cell.
    for (const Cell& cell : row) out += fmt::format("<td{}><span>{}</span></td>", class_of(cell.css), html(cell.text));
    out += "</tr>\n";
  }
  return out + "</tbody>\n</table>\n";
}

std::string facts(const std::vector<std::pair<std::string, std::string>>& pairs) {
  std::string out;
  for (const auto& [name, value] : pairs) {
    if (!value.empty()) out += fmt::format("<dt>{}</dt><dd>{}</dd>\n", html(name), html(value));
  }
  return out.empty() ? "" : "<dl>\n" + out + "</dl>\n";
}

}  // namespace host::report
