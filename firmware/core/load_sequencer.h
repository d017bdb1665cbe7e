// SPDX-License-Identifier: Apache-2.0
// Plays a list of gate steps in bench, timed by scans and loaded ahead by what the board needs: a step takes effect at
// the first block border (later by the board's lead) at or after its time, and is stamped with that scan.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/core/outputs.h"
#include "firmware/core/telemetry.h"

namespace firmware {

inline constexpr std::size_t kLoadStepsMax = 32;

struct LoadStep {
  std::uint8_t gate = 0;  // 0..kGateCount - 1
  bool on = false;
  std::uint32_t after_us = 0;  // after the step before
};

class LoadSequencer {
 public:
  LoadSequencer(Outputs& outputs, Health& health, Telemetry& telemetry)
      : outputs_(outputs), health_(health), telemetry_(telemetry) {}

  void clear() { count_ = 0; }
  void add(const LoadStep& step) { steps_[count_++] = step; }
  /// Plays what was added `rounds` times from now on.
  void play(std::uint32_t rounds);
  void cancel() { rounds_left_ = 0; }
  bool playing() const { return rounds_left_ != 0; }

  /// After a block: applies the steps due by the next scan, at most one round of them.
  void on_block();

 private:
  std::uint64_t due_scan() const;
  std::uint64_t next_edge_scan() const { return health_.next_scan + outputs_.lead_scans(); }
  void apply(const LoadStep& step);

  Outputs& outputs_;
  Health& health_;
  Telemetry& telemetry_;
  std::array<LoadStep, kLoadStepsMax> steps_{};
  std::size_t count_ = 0;
  std::size_t next_ = 0;
  std::uint32_t rounds_left_ = 0;
  std::uint64_t start_scan_ = 0;
  std::uint64_t due_us_ = 0;  // of the next step, since the start
};

}  // namespace firmware
