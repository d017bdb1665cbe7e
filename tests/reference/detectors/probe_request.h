// SPDX-License-Identifier: Apache-2.0
// What the other program asks: a word, numbers and arrays, all doubles; it answers one line of JSON each.
#pragma once

#include <cstdint>
#include <istream>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace reference {

/// On the line, all little-endian: u32 length of the word, the word; u32 count and the numbers; u32 count of arrays,
/// each a u32 count and its doubles.
struct Request {
  std::string word;
  std::vector<double> numbers;
  std::vector<std::vector<double>> arrays;
};

/// Nothing at the end of the stream; throws std::runtime_error on half a request.
std::optional<Request> read_request(std::istream& in);

/// A JSON object put together member by member; numbers with all their digits, what is not finite as null.
class JsonObject {
 public:
  JsonObject& number(const char* name, double value);
  JsonObject& truth(const char* name, bool value);
  JsonObject& word(const char* name, const std::string& value);
  JsonObject& numbers(const char* name, std::span<const double> values);
  JsonObject& objects(const char* name, const std::vector<JsonObject>& values);
  std::string text() const { return "{" + members_ + "}"; }

 private:
  JsonObject& member(const char* name, const std::string& value);
  std::string members_;
};

/// Answers for the detectors proper, for resistances and ripple, and for the arithmetic of judgement below them;
/// nothing: not one of its words.
std::optional<JsonObject> answer_detect(const Request& request);
std::optional<JsonObject> answer_resistance(const Request& request);
std::optional<JsonObject> answer_judge(const Request& request);

}  // namespace reference
