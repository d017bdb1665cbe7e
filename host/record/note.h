// SPDX-License-Identifier: Apache-2.0
// The host's notes between the jig's frames, framed like them (proto/recording.proto).
#pragma once

#include <cstddef>
#include <expected>
#include <span>
#include <vector>

#include "host/record/error.h"
#include "recording.pb.h"

namespace host::record {

inline constexpr std::uint32_t kFormatVersion = 1;
inline constexpr std::byte kNoteTag{0x6A};  // first byte of every note's payload: field 13, length-delimited

/// The frame of `note`, delimiter included, the same bytes for the same note. kTooLarge: above wire::kPayloadBytesMax.
std::expected<std::vector<std::byte>, RecordError> note_frame(const steadyrail::proto::HostNote& note);

}  // namespace host::record
