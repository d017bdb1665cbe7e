// SPDX-License-Identifier: Apache-2.0
// The version of this program, as recordings name it.
#pragma once

namespace host::record {

inline constexpr const char* kHostVersion = "0.1.0";

}  // namespace host::record
