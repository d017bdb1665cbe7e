// SPDX-License-Identifier: Apache-2.0
// Reading descriptions that people write: protobuf text format, every complaint with file, line and column.
#pragma once

#include <expected>
#include <string>
#include <string_view>
#include <vector>

#include <google/protobuf/text_format.h>

namespace host::model {

/// One complaint about a text. Lines and columns count from 1; 0 where the text has no place to point at.
struct TextError {
  std::string file;
  int line = 0;
  int column = 0;
  std::string message;
  std::string to_string() const;  // file:line:column: message
};

using TextErrors = std::vector<TextError>;

/// All complaints, one a line.
std::string to_string(const TextErrors& errors);

/// Parses `text` into `message`; `tree`, when given, receives the places of its fields for later complaints.
/// Errors: every syntax error and unknown field of the text.
std::expected<void, TextErrors> parse_text(std::string_view text, std::string_view file,
                                           google::protobuf::Message& message,
                                           google::protobuf::TextFormat::ParseInfoTree* tree = nullptr);

/// Content of a file, or one complaint naming it. At most 16 MiB.
std::expected<std::string, TextErrors> read_file(const std::string& path);

/// Where a message stands in its text, for complaints about what it says. Without a tree complaints carry no place.
class Place {
 public:
  /// The outermost message. `tree` may be null and must outlive the place.
  Place(std::string_view file, const google::protobuf::Descriptor& message,
        const google::protobuf::TextFormat::ParseInfoTree* tree);
  /// The message in `field`; `index` of a repeated field, -1 otherwise.
  Place nested(std::string_view field, int index = -1) const;

  TextError error(std::string message) const;
  /// At `field`, or at the message when the field is not written or is a list named as a whole.
  TextError error(std::string_view field, std::string message, int index = -1) const;

 private:
  std::string file_;
  const google::protobuf::Descriptor* message_;
  const google::protobuf::TextFormat::ParseInfoTree* tree_;
  int line_ = 0;
  int column_ = 0;
};

}  // namespace host::model
