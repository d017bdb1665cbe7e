// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/qemu/instruction_meter.h"

#include <algorithm>

#include "firmware/board/qemu/semihosting.h"
#include "proto/wire/window.h"

namespace firmware::qemu {
namespace {

// SysTick, ARMv7-M Architecture Reference Manual B3.3: control, reload and current value; it counts down 24 bits.
volatile std::uint32_t& systick(std::uint32_t offset) {
  return *reinterpret_cast<volatile std::uint32_t*>(0xE000E010 + offset);
}
constexpr std::uint32_t kControl = 0;
constexpr std::uint32_t kReload = 4;
constexpr std::uint32_t kCurrent = 8;
constexpr std::uint32_t kEnableFromCoreClock = 5;
constexpr std::uint32_t kCounterMask = 0xFFFFFF;

constexpr std::uint64_t kTicksPerMicrosecond = 168;
constexpr std::uint64_t kInstructionsPerMicrosecond = 1000;

std::uint32_t instructions(std::uint64_t ticks) {
  return static_cast<std::uint32_t>(ticks * kInstructionsPerMicrosecond / kTicksPerMicrosecond);
}

void print_figure(const char* name, std::uint32_t value) {
  std::array<char, 12> digits{};
  std::size_t at = digits.size() - 1;
  do {
    digits[--at] = static_cast<char>('0' + value % 10);
    value /= 10;
  } while (value != 0);
  qemu::print(name);
  qemu::print(": ");
  qemu::print(&digits[at]);
  qemu::print("\n");
}

}  // namespace

InstructionMeter::InstructionMeter() {
  systick(kReload) = kCounterMask;
  systick(kCurrent) = 0;
  systick(kControl) = kEnableFromCoreClock;
}

void InstructionMeter::begin() {
  before_ = systick(kCurrent);
}

void InstructionMeter::done(Work work) {
  const std::uint32_t now = systick(kCurrent);
  const std::uint32_t ticks = (before_ - now) & kCounterMask;
  Counted& counted = works_[static_cast<std::size_t>(work)];
  counted.ticks += ticks;
  counted.longest_ticks = std::max(counted.longest_ticks, ticks);
  block_ticks_ += ticks;
  before_ = systick(kCurrent);
}

void InstructionMeter::end_block() {
  dearest_block_ticks_ = std::max(dearest_block_ticks_, block_ticks_);
  block_ticks_ = 0;
  ++blocks_;
}

void InstructionMeter::print() const {
  if (blocks_ == 0) return;
  const Counted& acquiring = works_[static_cast<std::size_t>(Work::kAcquiring)];
  const Counted& talking = works_[static_cast<std::size_t>(Work::kTalking)];
  const std::uint64_t scans = std::uint64_t{blocks_} * wire::kScansPerBlock;
  print_figure("instructions a scan, acquiring", instructions(acquiring.ticks / scans));
  print_figure("instructions a scan, talking and packing", instructions(talking.ticks / scans));
  print_figure("instructions a scan, all", instructions((acquiring.ticks + talking.ticks) / scans));
  print_figure("instructions a window of 32 scans, all", instructions((acquiring.ticks + talking.ticks) / blocks_));
  print_figure("instructions of the dearest block", instructions(dearest_block_ticks_));
  print_figure("instructions in one go, acquiring, at most", instructions(acquiring.longest_ticks));
  print_figure("instructions in one go, talking, at most", instructions(talking.longest_ticks));
}

}  // namespace firmware::qemu
