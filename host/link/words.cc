// SPDX-License-Identifier: Apache-2.0
#include "host/link/words.h"

namespace host::link {
namespace {

namespace proto = steadyrail::proto;

std::string why(proto::Refusal refusal) {
  switch (refusal) {
    case proto::REFUSAL_WRONG_MODE:
      return "the keyed mode link does not allow it";
    case proto::REFUSAL_OUT_OF_RANGE:
      return "a value is out of range";
    case proto::REFUSAL_NOT_CONFIGURED:
      return "the jig is not configured";
    case proto::REFUSAL_RUNNING:
      return "the jig is running";
    case proto::REFUSAL_SAFETY:
      return "a safety cause stands";
    case proto::REFUSAL_UNKNOWN_COMMAND:
      return "the jig does not know this command; its firmware may be older";
    case proto::REFUSAL_NOT_RUNNING:
      return "the jig is not running";
    case proto::REFUSAL_NO_LOAD_BANK:
      return "the load bank, or a gate of it, has not been described";
    case proto::REFUSAL_CURRENT_LIMIT:
      return "more current at once than the load bank or the unit's label allows";
    case proto::REFUSAL_POWER_LIMIT:
      return "more power at once than the load bank or the unit's label allows";
    case proto::REFUSAL_ENERGY_LIMIT:
      return "more energy than the load bank takes before it has given off what it holds";
    case proto::REFUSAL_ON_TIME_LIMIT:
      return "a branch would be on for longer than it stands";
    case proto::REFUSAL_REPETITION_LIMIT:
      return "steps follow faster than the gates or the load bank allow";
    case proto::REFUSAL_OUTPUTS_ON:
      return "a load gate is on or PS_ON# is driven";
    case proto::REFUSAL_ERASE_NEEDED:
      return "the jig has to erase its store first and would stand still for up to half a second";
    case proto::REFUSAL_STORE_FAILED:
      return "the jig's store could not be written";
    case proto::REFUSAL_TAP_LIVE:
      return "a tap is live: switch the supply off at the outlet and unplug it from the jig";
    default:
      return "reason " + std::to_string(static_cast<int>(refusal));
  }
}

}  // namespace

std::string command_word(const proto::HostToJig& command) {
  const auto* field = proto::HostToJig::descriptor()->FindFieldByNumber(static_cast<int>(command.command_case()));
  std::string word = field == nullptr ? "nothing" : field->name();
  for (char& letter : word) letter = letter == '_' ? '-' : letter;
  return word;
}

std::string refusal_words(const proto::HostToJig& command, const proto::Acknowledgement& acknowledgement) {
  std::string words = "the jig refuses " + command_word(command) + ": " + why(acknowledgement.refusal());
  if (acknowledgement.field() != 0) words += " (field " + std::to_string(acknowledgement.field()) + ")";
  return words;
}

}  // namespace host::link
