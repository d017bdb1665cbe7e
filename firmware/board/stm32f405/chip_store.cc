// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/chip_store.h"

#include <algorithm>
#include <cstring>

#include "firmware/board/reference_channels.h"

namespace firmware::chip {
namespace {

constexpr std::string_view kNameless = "unnamed";

}  // namespace

void ChipStore::begin() {
  records_.load();
  read_identity();
  read_calibration_id();
  count_boot();
}

void ChipStore::read_identity() {
  use_reference_channels(identity_);
  identity_.jig_id = kNameless;
  if (records_.bytes(RecordKind::kIdentity) != sizeof record_) return;
  records_.read(RecordKind::kIdentity, std::as_writable_bytes(std::span(&record_, 1)));
  use_record(record_, identity_);
}

void ChipStore::read_calibration_id() {
  calibration_id_ = {};
  records_.read(RecordKind::kCalibration, std::as_writable_bytes(std::span(calibration_id_)));
  identity_.calibration_id = text_of(calibration_id_);
}

Stored ChipStore::append(RecordKind kind, std::span<const std::byte> content, bool may_erase) {
  if (may_erase && rest_ != nullptr) rest_->stand_still(true);
  const Stored stored = records_.append(kind, content, may_erase);
  if (may_erase && rest_ != nullptr) rest_->stand_still(false);
  return stored;
}

Stored ChipStore::store_identity(const Identity& identity, bool may_erase) {
  const IdentityRecord record = record_of(identity);
  const Stored stored = append(RecordKind::kIdentity, std::as_bytes(std::span(&record, 1)), may_erase);
  if (stored == Stored::kDone) read_identity();
  return stored;
}

Stored ChipStore::store_calibration(std::string_view calibration_id, std::span<const std::byte> content,
                                    bool may_erase) {
  CalibrationRecord record;
  if (content.size() > record.content.size()) return Stored::kTooLong;
  copy_text(calibration_id, record.id);
  std::ranges::copy(content, record.content.begin());
  const auto bytes = std::as_bytes(std::span(&record, 1)).first(sizeof record.id + content.size());
  const Stored stored = append(RecordKind::kCalibration, bytes, may_erase);
  if (stored == Stored::kDone) read_calibration_id();
  return stored;
}

std::size_t ChipStore::read_calibration(std::span<std::byte> out) const {
  return records_.read(RecordKind::kCalibration, out, sizeof(CalibrationId));
}

void ChipStore::count_boot() {
  std::array<std::byte, sizeof boots_> content{};
  records_.read(RecordKind::kBoots, content);
  std::memcpy(&boots_, content.data(), sizeof boots_);
  ++boots_;
  std::memcpy(content.data(), &boots_, sizeof boots_);
  boot_counted_ = records_.append(RecordKind::kBoots, content, true) == Stored::kDone;
}

}  // namespace firmware::chip
