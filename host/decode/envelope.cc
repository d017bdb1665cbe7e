// SPDX-License-Identifier: Apache-2.0
#include "host/decode/envelope.h"

#include "link.pb.h"

namespace host::decode {
namespace {

using Message = steadyrail::proto::JigToHost;

// Wire types of protobuf's encoding (protobuf.dev, "Encoding").
enum : std::uint32_t { kVarint = 0, kFixed64 = 1, kLengthDelimited = 2, kFixed32 = 5 };

class FieldReader {
 public:
  explicit FieldReader(std::span<const std::byte> bytes) : bytes_(bytes) {}

  bool at_end() const { return bytes_.empty(); }

  std::optional<std::uint64_t> varint() {
    std::uint64_t value = 0;
    for (std::size_t i = 0; i < 10 && i < bytes_.size(); ++i) {
      const auto byte = std::to_integer<std::uint64_t>(bytes_[i]);
      value |= (byte & 0x7F) << (7 * i);
      if (byte < 0x80) {
        bytes_ = bytes_.subspan(i + 1);
        return value;
      }
    }
    return std::nullopt;
  }

  std::optional<std::span<const std::byte>> take(std::uint64_t count) {
    if (count > bytes_.size()) return std::nullopt;
    const auto taken = bytes_.first(count);
    bytes_ = bytes_.subspan(count);
    return taken;
  }

 private:
  std::span<const std::byte> bytes_;
};

void place_field(std::uint32_t number, std::span<const std::byte> bytes, Envelope& envelope) {
  const bool known = number >= Message::kHelloFieldNumber && number <= Message::kLogFieldNumber;
  if (number == Message::kBodyFieldNumber) {
    envelope.body = bytes;
  } else if (known || envelope.content_field == 0) {
    envelope.content_field = number;
    envelope.content = bytes;
  }
}

bool read_field(FieldReader& reader, Envelope& envelope) {
  const auto key = reader.varint();
  if (!key || *key >> 3 == 0 || *key >> 3 > 0x1FFFFFFF) return false;
  const auto number = static_cast<std::uint32_t>(*key >> 3);
  switch (static_cast<std::uint32_t>(*key & 7)) {
    case kVarint: {
      const auto value = reader.varint();
      if (!value) return false;
      if (number == Message::kSequenceFieldNumber) envelope.sequence = static_cast<std::uint32_t>(*value);
      if (number == Message::kBootFieldNumber) envelope.boot = static_cast<std::uint32_t>(*value);
      return true;
    }
    case kLengthDelimited: {
      const auto length = reader.varint();
      const auto bytes = length ? reader.take(*length) : std::nullopt;
      if (!bytes) return false;
      place_field(number, *bytes, envelope);
      return true;
    }
    case kFixed64:
      return reader.take(8).has_value();
    case kFixed32:
      return reader.take(4).has_value();
    default:
      return false;
  }
}

}  // namespace

std::optional<Envelope> read_envelope(std::span<const std::byte> payload) {
  Envelope envelope;
  FieldReader reader(payload);
  while (!reader.at_end()) {
    if (!read_field(reader, envelope)) return std::nullopt;
  }
  return envelope;
}

}  // namespace host::decode
