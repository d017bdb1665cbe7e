// SPDX-License-Identifier: Apache-2.0
// What outlives a reset on a board that has none: the reference channel table at first, then what was stored since the
// start.
#pragma once

#include <algorithm>
#include <cstring>

#include "firmware/board/identity_record.h"
#include "firmware/board/reference_channels.h"

namespace firmware {

class RamStore : public NonVolatileStore {
 public:
  RamStore() {
    use_reference_channels(identity_);
    identity_.simulated = true;  // scans reach such a board from a simulated supply only
  }

  const Identity& identity() const override { return identity_; }
  std::uint32_t reset_cause() const override { return 1; }  // power-on

  Stored store_identity(const Identity& identity, bool /*may_erase*/) override {
    record_ = record_of(identity);
    use_record(record_, identity_);
    return Stored::kDone;
  }
  Stored store_calibration(std::string_view calibration_id, std::span<const std::byte> content,
                           bool /*may_erase*/) override {
    if (content.size() > calibration_.content.size()) return Stored::kTooLong;
    copy_text(calibration_id, calibration_.id);
    std::ranges::copy(content, calibration_.content.begin());
    calibration_bytes_ = content.size();
    identity_.calibration_id = text_of(calibration_.id);
    return Stored::kDone;
  }
  std::size_t read_calibration(std::span<std::byte> out) const override {
    std::copy_n(calibration_.content.begin(), calibration_bytes_, out.begin());
    return calibration_bytes_;
  }

 protected:
  Identity identity_;

 private:
  IdentityRecord record_{};
  CalibrationRecord calibration_{};
  std::size_t calibration_bytes_ = 0;
};

}  // namespace firmware
