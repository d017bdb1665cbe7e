// SPDX-License-Identifier: Apache-2.0
// The jig's answers in words.
#pragma once

#include <string>

#include "link.pb.h"

namespace host::link {

/// "configure", "arm", ...
std::string command_word(const steadyrail::proto::HostToJig& command);
/// A sentence: which command was refused, and why.
std::string refusal_words(const steadyrail::proto::HostToJig& command,
                          const steadyrail::proto::Acknowledgement& acknowledgement);

}  // namespace host::link
