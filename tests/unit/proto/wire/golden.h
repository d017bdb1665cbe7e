// SPDX-License-Identifier: Apache-2.0
// Reads proto/golden and makes the samples its recipes name (proto/golden/README.md).
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "proto/wire/window.h"
#include "tests/unit/proto/wire/bytes.h"

namespace wire {

struct GoldenLine {
  std::string name;
  std::string meaning;
  std::string given;
  Bytes hex;
};

/// Lines of proto/golden/`file`, in order. Empty when the file is missing or a line is malformed.
std::vector<GoldenLine> read_golden(const std::string& file);

/// The line called `name`; an empty one when there is none.
GoldenLine find_golden(const std::string& file, const std::string& name);

using GoldenCodes = std::vector<std::array<std::int16_t, kChannelCount>>;  // scan by scan

/// `recipe`: quiet or busy.
GoldenCodes golden_codes(const std::string& recipe, std::size_t scan_count);

/// Windows from the recipe's first scan on, counted against the limits the README states.
WindowBlock golden_windows(const std::string& recipe, std::uint32_t scans_per_window, std::uint32_t window_count);

/// The number after `key`= in a line's given part, decimal or 0x hexadecimal.
std::uint32_t golden_number(const std::string& given, const std::string& key);

/// The word after `key`=.
std::string golden_word(const std::string& given, const std::string& key);

}  // namespace wire
