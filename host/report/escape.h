// SPDX-License-Identifier: Apache-2.0
// Text from outside (questions, notes, channel names) made safe for each form it is printed in.
#pragma once

#include <string>
#include <string_view>

namespace host::report {

/// `text` with every byte that is no part of well-formed UTF-8 (RFC 3629) replaced by U+FFFD.
std::string valid_utf8(std::string_view text);

/// `text` for an HTML text node or a quoted attribute: & < > " ' as references, control characters but tab, line feed
/// and carriage return replaced, not UTF-8 replaced.
std::string html(std::string_view text);

/// `text` for a terminal: control characters (an escape sequence could rewrite what stands above) as '?'.
std::string terminal(std::string_view text);

}  // namespace host::report
