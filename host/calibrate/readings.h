// SPDX-License-Identifier: Apache-2.0
// Reference readings from a file: comma-separated, a line a reading, columns named by the first line.
#pragma once

#include <expected>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "host/model/text.h"

namespace host::calibrate {

struct TypedReading {
  int line = 0;
  std::string channel;
  double reference = 0;       // V, or A of a current channel
  std::optional<double> jig;  // noted by hand from the jig's nominal scale; absent: the jig is asked now
  std::string direction;      // up, down, zero-cold, zero-warm; empty: as the plan has it
};

/// Columns: channel, reference; jig and direction where wanted. Lines that are empty or begin with # are passed over.
/// Errors, each with line and column: an unknown or missing column, a number that is none (a decimal comma is named as
/// such), a wrong count of cells, an unknown direction, no reading at all.
std::expected<std::vector<TypedReading>, model::TextErrors> read_readings(std::string_view text, std::string_view file);

/// A number as people type it: digits with a decimal point. The error is a sentence; a decimal comma is named.
std::expected<double, std::string> typed_number(std::string_view text);

}  // namespace host::calibrate
