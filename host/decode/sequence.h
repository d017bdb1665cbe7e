// SPDX-License-Identifier: Apache-2.0
// What a frame's sequence number and boot counter say about the frames before it.
#pragma once

#include <cstdint>

namespace host::decode {

enum class Succession : std::uint8_t {
  kFirst,  // nothing to compare with
  kNext,
  kAfterLoss,
  kRepeated,  // seen before, or older
  kRestart,   // the jig began again
};

class Sequence {
 public:
  /// Older numbers this close are a repetition; further back the jig must have begun again with the same boot counter.
  static constexpr std::uint32_t kRepeatedMost = 64;

  /// Takes the numbers of the next sound frame.
  Succession take(std::uint32_t boot, std::uint32_t sequence) {
    missing_ = 0;
    if (!started_ || boot != boot_) {
      const bool first = !started_;
      begin(boot, sequence);
      return first ? Succession::kFirst : Succession::kRestart;
    }
    const std::uint32_t step = sequence - sequence_;  // modulo 2^32, as the number wraps
    if (step == 0 || step >= 0x8000'0000u) {
      if (!reopened_ && -step <= kRepeatedMost) return Succession::kRepeated;
      begin(boot, sequence);
      return Succession::kRestart;
    }
    reopened_ = false;
    sequence_ = sequence;
    missing_ = step - 1;
    return missing_ == 0 ? Succession::kNext : Succession::kAfterLoss;
  }

  /// The port was opened anew: nothing sent before can arrive any more, so any step back is a restart.
  void reopened() { reopened_ = true; }
  /// Frames lost just before the one taken last, where that is known.
  std::uint32_t missing() const { return missing_; }
  std::uint32_t boot() const { return boot_; }

 private:
  void begin(std::uint32_t boot, std::uint32_t sequence) {
    started_ = true;
    reopened_ = false;
    boot_ = boot;
    sequence_ = sequence;
  }

  bool started_ = false;
  bool reopened_ = false;
  std::uint32_t boot_ = 0;
  std::uint32_t sequence_ = 0;
  std::uint32_t missing_ = 0;
};

}  // namespace host::decode
