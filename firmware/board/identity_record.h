// SPDX-License-Identifier: Apache-2.0
// Identity and calibration as boards keep them.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "firmware/hal/nonvolatile_store.h"

namespace firmware {

/// Texts end with a zero.
struct IdentityRecord {
  std::array<char, kJigIdBytesMax + 1> jig_id{};
  std::array<std::uint8_t, 5> line_channels{};
  std::array<std::array<char, kChannelNameBytesMax + 1>, wire::kChannelCount> channel_names{};
};

struct CalibrationRecord {
  std::array<char, kCalibrationIdBytesMax + 1> id{};
  std::array<std::byte, kCalibrationBytesMax> content{};
};

template <std::size_t Bytes>
std::string_view text_of(const std::array<char, Bytes>& text) {
  return {text.data(), static_cast<std::size_t>(std::find(text.begin(), text.end(), '\0') - text.begin())};
}

/// A text that is too long is cut.
template <std::size_t Bytes>
void copy_text(std::string_view text, std::array<char, Bytes>& into) {
  into = {};
  std::copy_n(text.begin(), std::min(text.size(), Bytes - 1), into.begin());
}

inline IdentityRecord record_of(const Identity& identity) {
  IdentityRecord record;
  copy_text(identity.jig_id, record.jig_id);
  record.line_channels = identity.line_channels;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) copy_text(identity.channel_names[c], record.channel_names[c]);
  return record;
}

/// `record` outlives the identity.
inline void use_record(const IdentityRecord& record, Identity& identity) {
  identity.jig_id = text_of(record.jig_id);
  identity.line_channels = record.line_channels;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) identity.channel_names[c] = text_of(record.channel_names[c]);
}

}  // namespace firmware
