// SPDX-License-Identifier: Apache-2.0
// What outlives a reset: who this jig is, and which calibration it holds.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

#include "proto/wire/window.h"

namespace firmware {

/// Texts live as long as the store.
struct Identity {
  std::string_view jig_id;
  std::string_view firmware;
  std::string_view calibration_id;  // empty: none
  std::array<std::string_view, wire::kChannelCount> channel_names;
  /// By the schema's Line: the channel that sees it; entry 0 unused.
  std::array<std::uint8_t, 5> line_channels{};
  std::uint32_t scan_rate_hz = 32000;
  bool simulated = false;  // the samples come from a simulated supply
};

inline constexpr std::size_t kJigIdBytesMax = 15;
inline constexpr std::size_t kChannelNameBytesMax = 23;
inline constexpr std::size_t kCalibrationIdBytesMax = 23;
inline constexpr std::size_t kCalibrationBytesMax = 960;  // of content

enum class Stored : std::uint8_t {
  kDone,
  kEraseNeeded,  // there is no room without erasing, which was not allowed
  kTooLong,
  kFailed,  // what was stored before is still there
};

class NonVolatileStore {
 public:
  virtual ~NonVolatileStore() = default;
  virtual const Identity& identity() const = 0;
  /// Counts boots; a change tells the host that the scan index began again.
  virtual std::uint32_t boot_count() const = 0;
  /// The schema's ResetCause.
  virtual std::uint32_t reset_cause() const = 0;

  // Only with no run, gates off and PS_ON# released: an erase may stop everything for half a second.
  /// `identity`: jig_id, channel_names and line_channels count; it is identity() from then on.
  virtual Stored store_identity(const Identity& identity, bool may_erase) = 0;
  /// `content` is the host's own.
  virtual Stored store_calibration(std::string_view calibration_id, std::span<const std::byte> content,
                                   bool may_erase) = 0;
  /// Content of the calibration into `out`; returns its bytes, at most kCalibrationBytesMax; 0: none.
  virtual std::size_t read_calibration(std::span<std::byte> out) const = 0;
};

}  // namespace firmware
