// SPDX-License-Identifier: Apache-2.0
#include "tests/reference/detectors/probe_request.h"

#include <cmath>
#include <stdexcept>

#include <fmt/format.h>

namespace reference {
namespace {

constexpr std::uint32_t kCountMost = 1U << 24;

template <typename Item>
void read_items(std::istream& in, Item* items, std::size_t count) {
  const auto bytes = static_cast<std::streamsize>(count * sizeof(Item));
  if (!in.read(reinterpret_cast<char*>(items), bytes)) throw std::runtime_error("half a request");
}

std::uint32_t read_count(std::istream& in) {
  std::uint32_t count = 0;
  read_items(in, &count, 1);
  if (count > kCountMost) throw std::runtime_error("a count beyond reason");
  return count;
}

std::vector<double> read_doubles(std::istream& in) {
  std::vector<double> values(read_count(in));
  read_items(in, values.data(), values.size());
  return values;
}

std::string number_text(double value) {
  return std::isfinite(value) ? fmt::format("{}", value) : "null";
}

}  // namespace

std::optional<Request> read_request(std::istream& in) {
  if (in.peek() == std::istream::traits_type::eof()) return std::nullopt;
  Request request;
  request.word.resize(read_count(in));
  read_items(in, request.word.data(), request.word.size());
  request.numbers = read_doubles(in);
  const std::uint32_t arrays = read_count(in);
  for (std::uint32_t i = 0; i < arrays; ++i) request.arrays.push_back(read_doubles(in));
  return request;
}

JsonObject& JsonObject::member(const char* name, const std::string& value) {
  members_ += fmt::format("{}\"{}\":{}", members_.empty() ? "" : ",", name, value);
  return *this;
}

JsonObject& JsonObject::number(const char* name, double value) {
  return member(name, number_text(value));
}

JsonObject& JsonObject::truth(const char* name, bool value) {
  return member(name, value ? "true" : "false");
}

JsonObject& JsonObject::word(const char* name, const std::string& value) {
  return member(name, '"' + value + '"');
}

JsonObject& JsonObject::numbers(const char* name, std::span<const double> values) {
  std::string list;
  for (const double value : values) list += (list.empty() ? "" : ",") + number_text(value);
  return member(name, "[" + list + "]");
}

JsonObject& JsonObject::objects(const char* name, const std::vector<JsonObject>& values) {
  std::string list;
  for (const JsonObject& value : values) list += (list.empty() ? "" : ",") + value.text();
  return member(name, "[" + list + "]");
}

}  // namespace reference
