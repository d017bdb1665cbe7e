// SPDX-License-Identifier: Apache-2.0
// Envelopes to the host. The small fields are encoded as `content` (a JigToHost without sequence and boot), events by
// hand because there are many, the rest by nanopb; sequence and boot are put in front when a frame goes on the line,
// and the packed samples behind, as proto/wire.md says.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "link.npb.h"

namespace firmware {

inline constexpr std::size_t kContentBytesMax = steadyrail_proto_JigToHost_size;
inline constexpr std::size_t kEventContentBytesMax = steadyrail_proto_Event_size + 4;
inline constexpr std::size_t kPrefixBytesMax = 12;  // sequence and boot
inline constexpr std::size_t kBodyHeadBytes = 3;    // tag of `body` and a length of up to 16,383

/// Encodes `message` with its sequence and boot left out; returns the bytes. `out` must hold kContentBytesMax.
std::size_t encode_content(steadyrail_proto_JigToHost& message, std::span<std::byte> out);

/// The same for an event; `out` must hold kEventContentBytesMax.
std::size_t encode_event(const steadyrail_proto_Event& event, std::span<std::byte> out);

/// Sequence and boot; returns the bytes. `out` must hold kPrefixBytesMax.
std::size_t encode_prefix(std::uint32_t sequence, std::uint32_t boot, std::span<std::byte> out);

/// Closes a payload whose `body_bytes` of body begin kBodyHeadBytes after `at`: writes tag and length at `at` (moving a
/// body of less than 128 bytes down by one). Returns the payload's end.
std::size_t close_body(std::span<std::byte> payload, std::size_t at, std::size_t body_bytes);

}  // namespace firmware
