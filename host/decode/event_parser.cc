// SPDX-License-Identifier: Apache-2.0
#include "host/decode/event_parser.h"

#include <cstdint>

namespace host::decode {
namespace {

using steadyrail::proto::Event;

bool parse_into(google::protobuf::MessageLite& message, std::span<const std::byte> bytes) {
  return message.ParseFromArray(bytes.data(), static_cast<int>(bytes.size()));
}

google::protobuf::MessageLite* inside(Event& event, std::size_t kind) {
  switch (kind) {
    case Event::kExcursionFieldNumber:
      return event.mutable_excursion();
    case Event::kLoadStepFieldNumber:
      return event.mutable_load_step();
    case Event::kSettledFieldNumber:
      return event.mutable_settled();
    case Event::kEdgeFieldNumber:
      return event.mutable_edge();
    case Event::kCrossingFieldNumber:
      return event.mutable_crossing();
    case Event::kStormFieldNumber:
      return event.mutable_storm();
    default:
      return nullptr;
  }
}

}  // namespace

Event* EventParser::parse(std::span<const std::byte> bytes) {
  // What a jig writes: one field, its key (kind << 3 | 2, protobuf.dev, "Encoding") and its length in one or two bytes.
  // A message that holds its kind already keeps its inside, where parsing the whole would allocate it anew.
  if (bytes.size() >= 3 && (std::to_integer<std::uint32_t>(bytes[0]) & 7) == 2) {
    const auto kind = std::to_integer<std::size_t>(bytes[0] >> 3);
    const auto low = std::to_integer<std::size_t>(bytes[1]);
    const bool two = low >= 0x80;
    const std::size_t length = two ? (low & 0x7F) + (std::to_integer<std::size_t>(bytes[2]) << 7) : low;
    const auto rest = bytes.subspan(two ? 3 : 2);
    if (kind < kKinds && std::to_integer<std::uint32_t>(bytes[2]) * two < 0x80 && rest.size() == length) {
      auto* message = inside(events_[kind], kind);
      if (message != nullptr) return parse_into(*message, rest) ? &events_[kind] : nullptr;
    }
  }
  return parse_into(events_[0], bytes) ? events_.data() : nullptr;
}

}  // namespace host::decode
