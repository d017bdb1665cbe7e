// SPDX-License-Identifier: Apache-2.0
// Comma-separated values by RFC 4180: a header line, CRLF line ends, quotes where a field needs them, a decimal point
// whatever the locale. Units are part of the column's name.
#pragma once

#include <cstdint>
#include <ostream>
#include <string>
#include <string_view>

#include "result.pb.h"

namespace host::report {

/// One field, quoted when it holds a comma, a quote or a line end.
std::string csv_field(std::string_view text);

/// The events of a result, one a line, in their order. Figures an event has not are empty, never 0.
std::string events_csv(const steadyrail::proto::SessionResult& result);

/// One window of one channel in the unit of its channel.
struct WindowRow {
  std::string_view channel;
  bool amperes = false;  // a current channel; volts otherwise
  double start_s = 0;    // since the start of the session
  double length_s = 0;
  double min = 0;
  double mean = 0;
  double max = 0;
  double rms = 0;  // of the AC part
  std::uint32_t scans_below = 0;
  std::uint32_t scans_above = 0;
};

/// The header line of a file of windows.
void write_windows_header(std::ostream& out);
/// One line. Volts and amperes have columns of their own: those of the other unit stay empty.
void write_window(std::ostream& out, const WindowRow& row);

}  // namespace host::report
