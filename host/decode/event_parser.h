// SPDX-License-Identifier: Apache-2.0
// Reads events into messages kept by kind, so that a session allocates their fields, the lists above all, once.
#pragma once

#include <array>
#include <cstddef>
#include <span>

#include "link.pb.h"

namespace host::decode {

class EventParser {
 public:
  /// nullptr: not an event. Valid, and the caller's to change, until the next call.
  steadyrail::proto::Event* parse(std::span<const std::byte> bytes);

 private:
  static constexpr std::size_t kKinds = steadyrail::proto::Event::kStormFieldNumber + 1;
  std::array<steadyrail::proto::Event, kKinds> events_;  // by field number of the kind; 0: any
};

}  // namespace host::decode
