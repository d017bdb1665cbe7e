// SPDX-License-Identifier: Apache-2.0
// Calendar days as descriptions and certificates write them.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "host/model/units.h"

namespace host::model {

/// Days since 1970-01-01 of an ISO 8601 day ("2026-05-17"); nothing for anything else, or a day that does not exist.
std::optional<std::int32_t> day_of(std::string_view text);
/// "2026-05-17".
std::string day_text(std::int32_t days);
/// The UTC day of an instant.
std::int32_t day_of(HostTime time);
/// `months` later; the last day of that month where it is shorter.
std::int32_t months_later(std::int32_t days, unsigned months);

}  // namespace host::model
