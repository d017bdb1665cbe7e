// SPDX-License-Identifier: Apache-2.0
// Descriptions by name: what ships inside the program, or a file of one's own.
#pragma once

#include <expected>
#include <string>
#include <string_view>
#include <vector>

#include "host/model/text.h"

namespace host::model {

struct NamedText {
  std::string file;  // as complaints name it: the path, or "limits/atx-3.0.textproto" of what ships
  std::string text;
};

/// `name` of a description in `folder` ("limits", "jigs", "units", "systems") that ships, or the path of a file. A name
/// with a slash or ending in .textproto is a path. Errors: no such name (with those there are), or the file's own
/// trouble.
std::expected<NamedText, TextErrors> named_text(std::string_view folder, const std::string& name);

/// Names that ship in `folder`, in the order of the alphabet: "atx-3.0", ...
std::vector<std::string> shipped_descriptions(std::string_view folder);

}  // namespace host::model
