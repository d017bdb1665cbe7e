// SPDX-License-Identifier: Apache-2.0
#include "host/model/text.h"

#include <fmt/format.h>
#include <google/protobuf/descriptor.h>
#include <google/protobuf/io/tokenizer.h>

#include <array>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <memory>

namespace host::model {
namespace {

// A file of noise would otherwise answer with thousands of lines; the first ones tell enough.
constexpr std::size_t kErrorsMax = 50;
constexpr std::size_t kFileBytesMax = std::size_t{16} << 20;

class Collector : public google::protobuf::io::ErrorCollector {
 public:
  explicit Collector(std::string_view file) : file_(file) {}
  void AddError(int line, google::protobuf::io::ColumnNumber column, const std::string& message) override {
    if (errors_.size() < kErrorsMax) errors_.push_back({file_, line + 1, column + 1, message});
  }
  TextErrors take() { return std::move(errors_); }
  bool empty() const { return errors_.empty(); }

 private:
  std::string file_;
  TextErrors errors_;
};

TextErrors file_error(const std::string& path, std::string_view message) {
  return {TextError{path, 0, 0, std::string(message)}};
}

}  // namespace

std::string TextError::to_string() const {
  if (line <= 0) return fmt::format("{}: {}", file, message);
  return fmt::format("{}:{}:{}: {}", file, line, column, message);
}

std::string to_string(const TextErrors& errors) {
  std::string text;
  for (const TextError& error : errors) {
    if (!text.empty()) text += '\n';
    text += error.to_string();
  }
  return text;
}

std::expected<void, TextErrors> parse_text(std::string_view text, std::string_view file,
                                           google::protobuf::Message& message,
                                           google::protobuf::TextFormat::ParseInfoTree* tree) {
  if (text.size() > kFileBytesMax) {
    return std::unexpected(file_error(std::string(file), "more than 16 MiB: not a description"));
  }
  Collector collector(file);
  google::protobuf::TextFormat::Parser parser;
  parser.RecordErrorsTo(&collector);
  if (tree != nullptr) parser.WriteLocationsTo(tree);
  const bool parsed = parser.ParseFromString(std::string(text), &message);
  if (!collector.empty()) return std::unexpected(collector.take());
  if (!parsed) return std::unexpected(file_error(std::string(file), "not a readable description"));
  return {};
}

std::expected<std::string, TextErrors> read_file(const std::string& path) {
  std::error_code code;
  if (std::filesystem::is_directory(path, code)) return std::unexpected(file_error(path, "is a folder, not a file"));
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> file(std::fopen(path.c_str(), "rb"), &std::fclose);
  if (!file) return std::unexpected(file_error(path, std::strerror(errno)));
  std::string content;
  std::array<char, 65536> piece;
  while (const std::size_t got = std::fread(piece.data(), 1, piece.size(), file.get())) {
    content.append(piece.data(), got);
    if (content.size() > kFileBytesMax) return std::unexpected(file_error(path, "more than 16 MiB: not a description"));
  }
  if (std::ferror(file.get()) != 0) return std::unexpected(file_error(path, std::strerror(errno)));
  return content;
}

Place::Place(std::string_view file, const google::protobuf::Descriptor& message,
             const google::protobuf::TextFormat::ParseInfoTree* tree)
    : file_(file), message_(&message), tree_(tree) {}

Place Place::nested(std::string_view field, int index) const {
  const auto* descriptor = message_->FindFieldByName(std::string(field));
  Place place(file_, *descriptor->message_type(),
              tree_ != nullptr ? tree_->GetTreeForNested(descriptor, index) : nullptr);
  const TextError own = error(field, {}, index);
  place.line_ = own.line;
  place.column_ = own.column;
  return place;
}

TextError Place::error(std::string message) const {
  return {file_, line_, column_, std::move(message)};
}

TextError Place::error(std::string_view field, std::string message, int index) const {
  TextError found = error(std::move(message));
  const auto* descriptor = message_->FindFieldByName(std::string(field));
  if (tree_ == nullptr || descriptor->is_repeated() != (index >= 0)) return found;
  const auto location = tree_->GetLocation(descriptor, index);
  if (location.line < 0) return found;  // field not written: the place of its message says most
  found.line = location.line + 1;
  found.column = location.column + 1;
  return found;
}

}  // namespace host::model
