// SPDX-License-Identifier: Apache-2.0
#include "host/link/words.h"

namespace host::link {
namespace {

using namespace steadyrail::proto;

std::string why(Refusal refusal) {
  switch (refusal) {
    case REFUSAL_WRONG_MODE:
      return "the keyed mode link does not allow it";
    case REFUSAL_OUT_OF_RANGE:
      return "a value is out of range";
    case REFUSAL_NOT_CONFIGURED:
      return "the jig is not configured";
    case REFUSAL_RUNNING:
      return "the jig is running";
    case REFUSAL_SAFETY:
      return "a safety cause stands";
    case REFUSAL_UNKNOWN_COMMAND:
      return "the jig does not know this command; its firmware may be older";
    case REFUSAL_NOT_RUNNING:
      return "the jig is not running";
    default:
      return "reason " + std::to_string(static_cast<int>(refusal));
  }
}

}  // namespace

std::string command_word(const HostToJig& command) {
  const auto* field = HostToJig::descriptor()->FindFieldByNumber(static_cast<int>(command.command_case()));
  std::string word = field == nullptr ? "nothing" : field->name();
  for (char& letter : word) letter = letter == '_' ? '-' : letter;
  return word;
}

std::string refusal_words(const HostToJig& command, const Acknowledgement& acknowledgement) {
  std::string words = "the jig refuses " + command_word(command) + ": " + why(acknowledgement.refusal());
  if (acknowledgement.field() != 0) words += " (field " + std::to_string(acknowledgement.field()) + ")";
  return words;
}

}  // namespace host::link
