// SPDX-License-Identifier: Apache-2.0
// The outer layer of a JigToHost message, read in place: parsing it whole would copy every body of packed samples.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace host::decode {

struct Envelope {
  std::uint32_t sequence = 0;
  std::uint32_t boot = 0;
  std::uint32_t content_field = 0;     // field number of the oneof's member in JigToHost; 0: none
  std::span<const std::byte> content;  // of that member, still encoded; lies in the payload
  std::span<const std::byte> body;
};

/// nullopt: not well-formed protobuf. Fields this program does not know are passed over, except that an unknown
/// length-delimited one becomes `content` when nothing known does, so that a newer jig's messages can be counted.
std::optional<Envelope> read_envelope(std::span<const std::byte> payload);

}  // namespace host::decode
