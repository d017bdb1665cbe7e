// SPDX-License-Identifier: Apache-2.0
// Files a run will write: refused before it begins when they cannot be written, written whole or not at all.
#pragma once

#include <expected>
#include <string>
#include <string_view>
#include <vector>

namespace host::app {

/// A file named on the command line; empty path: not asked for.
struct OutputName {
  std::string option;  // "--report"
  std::string path;
};

/// Checks that each can be written (its folder is there and writable, it is no folder itself) and that no two are one
/// file, nor one of `inputs`. The error is a sentence for the user.
std::expected<void, std::string> check_outputs(const std::vector<OutputName>& outputs,
                                               const std::vector<std::string>& inputs);

/// Writes beside the place and renames, so that a reader never sees half a file; devices are written directly.
std::expected<void, std::string> write_file(const std::string& path, std::string_view content);

}  // namespace host::app
