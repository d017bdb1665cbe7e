// SPDX-License-Identifier: Apache-2.0
// Descriptions and texts that ship inside the program: limit sets, jigs, units, the caution.
#pragma once

#include <cstddef>
#include <optional>
#include <string_view>
#include <vector>

namespace host::data {

struct ShippedFile {
  std::string_view name;  // relative to host/data, "limits/atx-3.0.textproto"
  std::string_view content;
};

extern const ShippedFile kShippedFiles[];
extern const std::size_t kShippedFileCount;

/// Content of a shipped file by its name; nothing when there is none.
std::optional<std::string_view> shipped(std::string_view name);

/// Names under a folder ("limits/"), in the order of the alphabet.
std::vector<std::string_view> shipped_names(std::string_view folder);

}  // namespace host::data
