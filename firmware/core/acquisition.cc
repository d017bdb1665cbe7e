// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/acquisition.h"

namespace firmware {

void Acquisition::begin(const Settings& settings, const ArmedSet& armed) {
  armed_ = &armed;
  windows_.begin(settings.scans_per_window, armed.set);
}

void Acquisition::end() {
  close_stretch();
  armed_ = nullptr;
}

void Acquisition::on_block(const ScanBlock& block) {
  if (block.first_scan != health_.next_scan) {
    count_up(health_.scans_lost, static_cast<std::uint32_t>(block.first_scan - health_.next_scan));
    close_stretch();
  }
  health_.next_scan = block.first_scan + wire::kScansPerBlock;
  if (armed_ == nullptr) return;
  reduce(block.codes, armed_->counts, sums_);
  health_.clipped_mask |= sums_.clipped_mask;
  windows_.add(block.first_scan, sums_);
}

void Acquisition::close_stretch() {
  if (armed_ == nullptr) return;
  windows_.flush();
}

}  // namespace firmware
