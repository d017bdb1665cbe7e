// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/chip_store.h"

#include <algorithm>
#include <cstring>

#include "firmware/board/reference_channels.h"

namespace firmware::chip {
namespace {

constexpr std::string_view kNameless = "unnamed";

template <std::size_t Bytes>
std::string_view text_of(const std::array<char, Bytes>& text) {
  return {text.data(), static_cast<std::size_t>(std::find(text.begin(), text.end(), '\0') - text.begin())};
}

}  // namespace

void ChipStore::begin() {
  records_.load();
  read_identity();
  records_.read(RecordKind::kCalibration, std::as_writable_bytes(std::span(calibration_)));
  identity_.calibration_id = text_of(calibration_);
  count_boot();
}

void ChipStore::read_identity() {
  use_reference_channels(identity_);
  identity_.jig_id = kNameless;
  if (records_.bytes(RecordKind::kIdentity) != sizeof record_) return;
  records_.read(RecordKind::kIdentity, std::as_writable_bytes(std::span(&record_, 1)));
  identity_.jig_id = text_of(record_.jig_id);
  identity_.line_channels = record_.line_channels;
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
    identity_.channel_names[c] = text_of(record_.channel_names[c]);
  }
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
