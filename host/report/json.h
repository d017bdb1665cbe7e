// SPDX-License-Identifier: Apache-2.0
// JSON of any message of the schema. Protobuf's own printer leaves out zeros, quotes 64-bit counts and shouts enum
// names; a reader of results needs every named field, counts as numbers and words as the documents write them.
#pragma once

#include <expected>
#include <string>
#include <string_view>

#include <google/protobuf/message.h>

namespace host::report {

/// `message` as indented JSON with a final line feed. Names are lowerCamel in the order of the schema; every field is
/// printed, an `optional` one that is not set as null, the unset members of a oneof excepted; a message field that is
/// not set prints as its defaults; enums as words (words.h); doubles by the shortest digits that read back equal. Text
/// that is not UTF-8 gets replacement characters. Error: a number that is not finite, with the path of its field; a
/// bytes field.
std::expected<std::string, std::string> to_json(const google::protobuf::Message& message);

/// `text` as a JSON string, quotes included.
std::string json_string(std::string_view text);

}  // namespace host::report
