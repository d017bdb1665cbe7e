// SPDX-License-Identifier: Apache-2.0
#include "host/model/named_text.h"

#include <fmt/format.h>

#include <algorithm>

#include "host/data/shipped.h"

namespace host::model {
namespace {

constexpr std::string_view kSuffix = ".textproto";

}  // namespace

std::expected<NamedText, TextErrors> named_text(std::string_view folder, const std::string& name) {
  if (name.find('/') != std::string::npos || name.ends_with(kSuffix)) {
    auto text = read_file(name);
    if (!text) return std::unexpected(std::move(text.error()));
    return NamedText{name, std::move(*text)};
  }
  const std::string file = fmt::format("{}/{}{}", folder, name, kSuffix);
  if (const auto text = data::shipped(file)) return NamedText{file, std::string(*text)};
  const std::string known = fmt::format("{}", fmt::join(shipped_descriptions(folder), ", "));
  return std::unexpected(
      TextErrors{{name, 0, 0,
                  fmt::format("no such name in {}; there are: {}; or give the path of a file ending in {}", folder,
                              known, kSuffix)}});
}

std::vector<std::string> shipped_descriptions(std::string_view folder) {
  const std::string start = std::string(folder) + "/";
  std::vector<std::string> names;
  for (std::string_view name : data::shipped_names(start)) {
    if (!name.ends_with(kSuffix)) continue;
    names.emplace_back(name.substr(start.size(), name.size() - start.size() - kSuffix.size()));
  }
  std::ranges::sort(names);  // with the suffix gone "atx12v-2.0" stands before "atx12v-2.0-peak"
  return names;
}

}  // namespace host::model
