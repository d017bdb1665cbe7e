// SPDX-License-Identifier: Apache-2.0
// Who this jig is, out of its flash records; the reference jig's table where it holds no identity yet.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/board/stm32f405/record_store.h"
#include "firmware/hal/nonvolatile_store.h"

namespace firmware::chip {

/// Content of an identity record. Texts end with a zero or at their end.
struct IdentityRecord {
  std::array<char, 16> jig_id{};
  std::array<std::uint8_t, 5> line_channels{};
  std::array<std::array<char, 24>, wire::kChannelCount> channel_names{};
};
static_assert(sizeof(IdentityRecord) <= kRecordBytesMax);

/// Content of a calibration record begins with its name; what follows is the host's.
using CalibrationName = std::array<char, 24>;

class ChipStore : public NonVolatileStore {
 public:
  /// `firmware`: name and version, for Hello.
  ChipStore(RecordStore& records, std::string_view firmware, std::uint32_t reset_cause)
      : records_(records), reset_cause_(reset_cause) {
    identity_.firmware = firmware;
  }

  /// Reads the records and counts this boot. Before anything runs: it may erase a sector.
  void begin();

  const Identity& identity() const override { return identity_; }
  std::uint32_t boot_count() const override { return boots_; }
  std::uint32_t reset_cause() const override { return reset_cause_; }

  /// False when the boot could not be written down: the next one will have the same number.
  bool boot_counted() const { return boot_counted_; }

 private:
  void read_identity();
  void count_boot();

  RecordStore& records_;
  std::uint32_t reset_cause_;
  std::uint32_t boots_ = 0;
  bool boot_counted_ = false;
  IdentityRecord record_{};
  CalibrationName calibration_{};
  Identity identity_{};
};

}  // namespace firmware::chip
