// SPDX-License-Identifier: Apache-2.0
// A comparison of sessions in words and as one HTML file.
#pragma once

#include <string>
#include <string_view>

#include "comparison.pb.h"

namespace host::report {

std::string comparison_text(const steadyrail::proto::Comparison& comparison);

/// The whole file: no script, no reference to the outside. `style`: CSS; `caution`: the one text.
std::string comparison_html(const steadyrail::proto::Comparison& comparison, std::string_view style,
                            std::string_view caution);

}  // namespace host::report
