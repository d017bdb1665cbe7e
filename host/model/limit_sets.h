// SPDX-License-Identifier: Apache-2.0
// Editions of published limits: found by name or path, checked before anything is judged by them.
#pragma once

#include <expected>
#include <string>
#include <string_view>

#include "host/model/text.h"
#include "limits.pb.h"

namespace host::model {

/// An edition and the text it came from, whose hash names it in the result.
struct LimitEdition {
  steadyrail::proto::LimitSet set;
  std::string file;
  std::string text;
};

/// An edition that ships ("atx-3.0") or a file of one's own. There is no default edition. Errors: none of that name,
/// syntax, and everything contradictions() finds.
std::expected<LimitEdition, TextErrors> load_limits(const std::string& name_or_path);

/// Reads and checks a text.
std::expected<steadyrail::proto::LimitSet, TextErrors> limits_from_text(std::string_view text, std::string_view file);

/// What an edition may not say: no name, title or document; a limit without rail, table, source or status; least not
/// below most; a value that is not of its rail (a slip of unit); two rows for one connector; required coverage outside
/// its range; an excursion table that grows with duration; a ripple that is none. Empty when sound.
TextErrors contradictions(const steadyrail::proto::LimitSet& limits, const Place& place);

}  // namespace host::model
