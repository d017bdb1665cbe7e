// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/scan_reader.h"

#include <algorithm>

#include "firmware/board/stm32f405/cpu.h"
#include "firmware/core/health.h"

namespace firmware::chip {

bool ScanReader::begin() {
  scan_ = 0;
  next_scan_ = 0;
  if (!restart()) return false;
  clock_.begin();
  return true;
}

// Buses at the start of their landing areas, nothing ready. The clock goes on: scans count whether read or not.
bool ScanReader::restart() {
  broken_ = true;  // the interrupt keeps off until all is set
  begun_ = false;
  readouts_ = 0;
  ready_ = 0;
  taken_ = 0;
  bool started = true;
  for (ConverterBus* bus : buses_) started = bus->begin() && started;
  broken_ = !started;
  return started;
}

std::uint64_t ScanReader::scan_now() const {
  const InterruptLock lock;
  return scan_ + static_cast<std::uint16_t>(clock_.scans() - static_cast<std::uint16_t>(scan_));
}

void ScanReader::on_readout() {
  clock_.acknowledge();
  const auto since = static_cast<std::uint16_t>(clock_.scans() - static_cast<std::uint16_t>(scan_));
  const std::uint64_t scan = scan_ + since;
  const bool follows = !begun_ || since == 1;
  scan_ = scan;
  if (broken_) return;
  if (!follows) {
    count_up(faults_.interrupt_late, since == 0 ? 1U : since - 1U);
    broken_ = true;
    return;
  }
  if (!check_buses()) {
    broken_ = true;
    return;
  }
  if (readouts_ % wire::kScansPerBlock == 0) {
    if (begun_) ready_ = ready_ + 1;
    first_scan_[readouts_ / wire::kScansPerBlock % kLandingBlocks] = scan;
  }
  for (ConverterBus* bus : buses_) bus->read_out();
  begun_ = true;
  ++readouts_;
}

bool ScanReader::check_buses() {
  if (!begun_) return true;
  bool sound = true;
  for (std::size_t k = 0; k < kConverters; ++k) {
    switch (buses_[k]->check(readouts_)) {
      case BusFault::kNone:
        continue;
      case BusFault::kUnfinished:
        fail(k, faults_.unfinished[k]);
        break;
      case BusFault::kOutOfStep:
        fail(k, faults_.out_of_step[k]);
        break;
      case BusFault::kOverrun:
        fail(k, faults_.overrun[k]);
        break;
    }
    sound = false;
  }
  return sound;
}

void ScanReader::fail(std::size_t converter, std::uint32_t& counter) {
  count_up(counter);
  failures_[converter] = failures_[converter] + 1;
}

const ScanBlock* ScanReader::take_block() {
  for (std::size_t tries = 0; tries < kLandingBlocks; ++tries) {
    const std::uint32_t ready = ready_;
    if (ready == taken_) {
      if (broken_) restart();
      return nullptr;
    }
    // The block after the newest is being written: one fewer than there are can wait.
    if (ready - taken_ >= kLandingBlocks) {
      count_up(faults_.taken_late, ready - taken_ - (kLandingBlocks - 1));
      taken_ = ready - (kLandingBlocks - 1);
    }
    const std::size_t index = taken_ % kLandingBlocks;
    const std::uint64_t first_scan = first_scan_[index];
    const bool sound = unpack(index);
    const bool overwritten = ready_ - taken_ >= kLandingBlocks;
    ++taken_;
    if (overwritten) count_up(faults_.taken_late);
    if (!sound || overwritten) continue;
    block_.first_scan = first_scan;
    block_.scans_lost = static_cast<std::uint32_t>(std::min<std::uint64_t>(first_scan - next_scan_, UINT32_MAX));
    block_.edge_count = 0;
    next_scan_ = first_scan + wire::kScansPerBlock;
    return &block_;
  }
  return nullptr;
}

bool ScanReader::unpack(std::size_t index) {
  bool sound = true;
  for (std::size_t k = 0; k < kConverters; ++k) {
    if (buses_[k]->unpack(index, k * kChannelsPerConverter, block_.codes)) {
      failures_[k] = 0;
      continue;
    }
    sound = false;
    fail(k, faults_.wrong_frame[k]);
    // Every frame of it may be wrong from here on: a fresh start puts the converter back in step.
    broken_ = true;
  }
  return sound;
}

std::uint32_t ScanReader::lost_converters() const {
  std::uint32_t lost = 0;
  for (std::size_t k = 0; k < kConverters; ++k) {
    if (failures_[k] >= kLostAfterFailures) lost |= 1U << k;
  }
  return lost;
}

}  // namespace firmware::chip
