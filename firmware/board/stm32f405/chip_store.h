// SPDX-License-Identifier: Apache-2.0
// Who this jig is, out of its flash records; the reference jig's table where it holds no identity yet.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/board/identity_record.h"
#include "firmware/board/stm32f405/record_store.h"
#include "firmware/hal/nonvolatile_store.h"

namespace firmware::chip {

static_assert(sizeof(IdentityRecord) <= kRecordBytesMax && sizeof(CalibrationRecord) <= kRecordBytesMax);

/// Told when no instruction may run for up to half a second, and when it may again.
class StandStill {
 public:
  virtual ~StandStill() = default;
  virtual void stand_still(bool begins) = 0;
};

class ChipStore : public NonVolatileStore {
 public:
  /// `firmware`: name and version, for Hello. `rest` may be null: then nobody is told.
  ChipStore(RecordStore& records, std::string_view firmware, std::uint32_t reset_cause, StandStill* rest = nullptr)
      : records_(records), reset_cause_(reset_cause), rest_(rest) {
    identity_.firmware = firmware;
  }

  /// Reads the records and counts this boot. Before anything runs: it may erase a sector.
  void begin();

  const Identity& identity() const override { return identity_; }
  std::uint32_t boot_count() const override { return boots_; }
  std::uint32_t reset_cause() const override { return reset_cause_; }
  Stored store_identity(const Identity& identity, bool may_erase) override;
  Stored store_calibration(std::string_view calibration_id, std::span<const std::byte> content,
                           bool may_erase) override;
  std::size_t read_calibration(std::span<std::byte> out) const override;

  /// False when the boot could not be written down: the next one will have the same number.
  bool boot_counted() const { return boot_counted_; }

 private:
  using CalibrationId = std::array<char, kCalibrationIdBytesMax + 1>;

  void read_identity();
  void read_calibration_id();
  void count_boot();
  Stored append(RecordKind kind, std::span<const std::byte> content, bool may_erase);

  RecordStore& records_;
  std::uint32_t reset_cause_;
  StandStill* rest_;
  std::uint32_t boots_ = 0;
  bool boot_counted_ = false;
  IdentityRecord record_{};
  CalibrationId calibration_id_{};
  Identity identity_{};
};

}  // namespace firmware::chip
