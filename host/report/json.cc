// SPDX-License-Identifier: Apache-2.0
#include "host/report/json.h"

#include <charconv>
#include <cmath>

#include <fmt/format.h>
#include <google/protobuf/descriptor.h>

#include "host/report/escape.h"
#include "host/report/words.h"

namespace host::report {
namespace {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;
using google::protobuf::Reflection;

constexpr int kDepthMax = 32;  // deeper than any message of the schema

/// Writes one message tree; stops at the first value JSON cannot hold.
class Writer {
 public:
  std::expected<std::string, std::string> write(const Message& message) {
    put_message(message, "", 0);
    if (!fault_.empty()) return std::unexpected(fault_);
    return out_ + '\n';
  }

 private:
  void put_message(const Message& message, const std::string& path, int depth) {
    if (depth > kDepthMax) return fail(path, "nested too deeply");
    const Reflection& reflection = *message.GetReflection();
    const google::protobuf::Descriptor& type = *message.GetDescriptor();
    out_ += '{';
    bool first = true;
    for (int i = 0; i < type.field_count(); ++i) {
      const FieldDescriptor& field = *type.field(i);
      // Members of a oneof are there or not; what is merely `optional` and not known is null.
      if (field.real_containing_oneof() != nullptr && !reflection.HasField(message, &field)) continue;
      if (!first) out_ += ',';
      first = false;
      new_line(depth + 1);
      out_ += json_string(field.json_name()) + ": ";
      put_field(message, field, path.empty() ? field.json_name() : path + "." + field.json_name(), depth + 1);
    }
    if (!first) new_line(depth);
    out_ += '}';
  }

  void put_field(const Message& message, const FieldDescriptor& field, const std::string& path, int depth) {
    if (field.has_optional_keyword() && !message.GetReflection()->HasField(message, &field)) {
      out_ += "null";
      return;
    }
    if (!field.is_repeated()) return put_value(message, field, -1, path, depth);
    const int count = message.GetReflection()->FieldSize(message, &field);
    out_ += '[';
    for (int i = 0; i < count; ++i) {
      if (i > 0) out_ += ',';
      new_line(depth + 1);
      put_value(message, field, i, fmt::format("{}[{}]", path, i), depth + 1);
    }
    if (count > 0) new_line(depth);
    out_ += ']';
  }

  /// One value; `index` -1 for a singular field.
  void put_value(const Message& message, const FieldDescriptor& field, int index, const std::string& path, int depth) {
    const Reflection& from = *message.GetReflection();
    const auto get = [&](auto singular, auto repeated) {
      return index < 0 ? (from.*singular)(message, &field) : (from.*repeated)(message, &field, index);
    };
    switch (field.cpp_type()) {
      case FieldDescriptor::CPPTYPE_INT32:
        return put_integer(get(&Reflection::GetInt32, &Reflection::GetRepeatedInt32));
      case FieldDescriptor::CPPTYPE_INT64:
        return put_integer(get(&Reflection::GetInt64, &Reflection::GetRepeatedInt64));
      case FieldDescriptor::CPPTYPE_UINT32:
        return put_integer(get(&Reflection::GetUInt32, &Reflection::GetRepeatedUInt32));
      case FieldDescriptor::CPPTYPE_UINT64:
        return put_integer(get(&Reflection::GetUInt64, &Reflection::GetRepeatedUInt64));
      case FieldDescriptor::CPPTYPE_DOUBLE:
        return put_real(get(&Reflection::GetDouble, &Reflection::GetRepeatedDouble), path);
      case FieldDescriptor::CPPTYPE_FLOAT:
        return put_real(get(&Reflection::GetFloat, &Reflection::GetRepeatedFloat), path);
      case FieldDescriptor::CPPTYPE_BOOL:
        out_ += get(&Reflection::GetBool, &Reflection::GetRepeatedBool) ? "true" : "false";
        return;
      case FieldDescriptor::CPPTYPE_ENUM:
        out_ += json_string(
            enum_word(*field.enum_type(), get(&Reflection::GetEnumValue, &Reflection::GetRepeatedEnumValue)));
        return;
      case FieldDescriptor::CPPTYPE_STRING:
        if (field.type() == FieldDescriptor::TYPE_BYTES) return fail(path, "bytes have no form in JSON");
        out_ += json_string(get(&Reflection::GetString, &Reflection::GetRepeatedString));
        return;
      case FieldDescriptor::CPPTYPE_MESSAGE:
        return put_message(
            index < 0 ? from.GetMessage(message, &field) : from.GetRepeatedMessage(message, &field, index), path,
            depth);
    }
  }

  template <typename Integer>
  void put_integer(Integer value) {
    out_ += fmt::format("{}", value);
  }

  template <typename Real>
  void put_real(Real value, const std::string& path) {
    if (!std::isfinite(value)) return fail(path, "is not a finite number");
    // JSON has one number type: readers take "-0" for the whole number 0 and lose the sign.
    if (value == 0 && std::signbit(value)) {
      out_ += "-0.0";
      return;
    }
    char digits[40];
    const auto end = std::to_chars(digits, digits + sizeof digits, value);
    out_.append(digits, end.ptr);
  }

  void new_line(int depth) {
    out_ += '\n';
    out_.append(static_cast<std::size_t>(depth) * 2, ' ');
  }

  void fail(const std::string& path, std::string_view why) {
    if (fault_.empty()) fault_ = fmt::format("{} {}", path, why);
  }

  std::string out_;
  std::string fault_;
};

}  // namespace

std::expected<std::string, std::string> to_json(const google::protobuf::Message& message) {
  return Writer{}.write(message);
}

std::string json_string(std::string_view text) {
  std::string out = "\"";
  for (const char letter : valid_utf8(text)) {
    switch (letter) {
      case '"':
        out += "\\\"";
        break;
      case '\\':
        out += "\\\\";
        break;
      case '\n':
        out += "\\n";
        break;
      case '\r':
        out += "\\r";
        break;
      case '\t':
        out += "\\t";
        break;
      default:
        if (static_cast<unsigned char>(letter) < 0x20 || letter == 0x7f) {
          out += fmt::format("\\u{:04x}", static_cast<unsigned>(letter));
        } else {
          out += letter;
        }
    }
  }
  return out + '"';
}

}  // namespace host::report
