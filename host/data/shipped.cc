// SPDX-License-Identifier: Apache-2.0
#include "host/data/shipped.h"

#include <algorithm>
#include <span>

namespace host::data {

std::optional<std::string_view> shipped(std::string_view name) {
  for (const ShippedFile& file : std::span(kShippedFiles, kShippedFileCount)) {
    if (file.name == name) return file.content;
  }
  return std::nullopt;
}

std::vector<std::string_view> shipped_names(std::string_view folder) {
  std::vector<std::string_view> names;
  for (const ShippedFile& file : std::span(kShippedFiles, kShippedFileCount)) {
    if (file.name.starts_with(folder)) names.push_back(file.name);
  }
  std::ranges::sort(names);
  return names;
}

}  // namespace host::data
