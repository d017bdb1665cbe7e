// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/readings.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

namespace host::calibrate {
namespace {

constexpr std::array<std::string_view, 4> kDirections = {"up", "down", "zero-cold", "zero-warm"};

struct Cell {
  std::string_view text;
  int column = 0;
};

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t\r");
  if (first == text.npos) return {};
  return text.substr(first, text.find_last_not_of(" \t\r") - first + 1);
}

std::vector<Cell> cells_of(std::string_view line) {
  std::vector<Cell> cells;
  std::size_t at = 0;
  for (;;) {
    const std::size_t comma = std::min(line.find(',', at), line.size());
    const std::string_view raw = line.substr(at, comma - at);
    const auto lead = std::min(raw.find_first_not_of(" \t"), raw.size());
    cells.push_back({trimmed(raw), static_cast<int>(at + lead) + 1});
    if (comma == line.size()) return cells;
    at = comma + 1;
  }
}

bool digits_alone(std::string_view text) {
  return !text.empty() && std::ranges::all_of(text, [](char c) { return c >= '0' && c <= '9'; });
}

class Reader {
 public:
  explicit Reader(std::string_view file) : file_(file) {}

  void line(int number, std::string_view text) {
    number_ = number;
    const std::string_view content = trimmed(text);
    if (content.empty() || content.starts_with('#')) return;
    const std::vector<Cell> cells = cells_of(text);
    if (columns_.empty()) return header(cells);
    reading(cells);
  }

  std::expected<std::vector<TypedReading>, model::TextErrors> take() {
    if (errors_.empty() && readings_.empty()) error(0, "no readings");
    if (!errors_.empty()) return std::unexpected(std::move(errors_));
    return std::move(readings_);
  }

 private:
  void error(int column, std::string message) {
    errors_.push_back({std::string(file_), column == 0 ? 0 : number_, column, std::move(message)});
  }

  void header(const std::vector<Cell>& cells) {
    for (const Cell& cell : cells) {
      columns_.emplace_back(cell.text);
      if (cell.text == "channel" || cell.text == "reference" || cell.text == "jig" || cell.text == "direction")
        continue;
      error(cell.column, fmt::format("column {} is none of channel, reference, jig, direction{}", cell.text,
                                     cell.text.find(';') == cell.text.npos ? "" : "; cells are parted by commas"));
    }
    for (const char* needed : {"channel", "reference"}) {
      if (std::ranges::find(columns_, needed) == columns_.end() && errors_.empty()) {
        error(1, fmt::format("the first line names no column {}", needed));
      }
    }
  }

  void reading(const std::vector<Cell>& cells) {
    if (cells.size() != columns_.size()) {
      // "main-12v,5,0012" has a cell too many: a decimal comma, most likely.
      const bool comma = cells.size() > columns_.size() && digits_alone(cells.back().text);
      error(cells[std::min(cells.size(), columns_.size()) - 1].column,
            fmt::format("{} cells for {} columns{}", cells.size(), columns_.size(),
                        comma ? ": a decimal comma? Write 5.0012, not 5,0012" : ""));
      return;
    }
    TypedReading out{.line = number_, .channel = {}, .reference = 0, .jig = {}, .direction = {}};
    for (std::size_t i = 0; i < cells.size(); ++i) take_cell(columns_[i], cells[i], out);
    readings_.push_back(std::move(out));
  }

  void take_cell(std::string_view column, const Cell& cell, TypedReading& out) {
    if (column == "channel") {
      out.channel = cell.text;
      if (cell.text.empty()) error(cell.column, "a reading without its channel");
    } else if (column == "direction") {
      out.direction = cell.text;
      if (!cell.text.empty() && std::ranges::find(kDirections, cell.text) == kDirections.end()) {
        error(cell.column, fmt::format("direction {} is none of up, down, zero-cold, zero-warm", cell.text));
      }
    } else if (column == "jig" && cell.text.empty()) {
      return;
    } else {
      const auto number = typed_number(cell.text);
      if (!number) return error(cell.column, number.error());
      if (column == "jig") {
        out.jig = *number;
      } else {
        out.reference = *number;
      }
    }
  }

  std::string_view file_;
  int number_ = 0;
  std::vector<std::string> columns_;
  std::vector<TypedReading> readings_;
  model::TextErrors errors_;
};

}  // namespace

std::expected<std::vector<TypedReading>, model::TextErrors> read_readings(std::string_view text,
                                                                          std::string_view file) {
  Reader reader(file);
  if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);  // spreadsheets put a mark there
  int number = 0;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    reader.line(++number, text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return reader.take();
}

std::expected<double, std::string> typed_number(std::string_view text) {
  const std::string_view word = trimmed(text);
  if (word.empty()) return std::unexpected("a number is missing");
  double value = 0;
  const std::string_view digits = word.starts_with('+') ? word.substr(1) : word;
  const auto [end, code] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
  const bool whole = code == std::errc{} && end == digits.data() + digits.size();
  if (whole && std::isfinite(value)) return value;
  if (word.find(',') != word.npos) {
    return std::unexpected(fmt::format("{} has a decimal comma; write a decimal point, as in 5.0012", word));
  }
  return std::unexpected(fmt::format("{} is no number; write it as 5.0012, without its unit", word));
}

}  // namespace host::calibrate
