// SPDX-License-Identifier: Apache-2.0
// SHA-256 (FIPS 180-4) by libcrypto, for what a result was made from.
#pragma once

#include <expected>
#include <string>
#include <string_view>

namespace host::app {

/// 64 lower-case hexadecimal digits.
std::string sha256(std::string_view bytes);

/// The same of a file, read in pieces. The error is a sentence for the user.
std::expected<std::string, std::string> sha256_of_file(const std::string& path);

}  // namespace host::app
