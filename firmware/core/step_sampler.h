// SPDX-License-Identifier: Apache-2.0
// Draws steps for captures by lot. Of every run of M steps that follow one another one is kept, its number drawn when
// the run begins: what a reservoir of one keeps of a stretch whose length is known (Vitter, ACM Transactions on
// Mathematical Software 11(1), 1985), without packing captures that it would throw away again. M follows the rate of
// the second before, so that about three a second are drawn; a run ends with its second, whatever it has drawn.
#pragma once

#include <cstdint>

namespace firmware {

inline constexpr std::uint32_t kStepsDrawnPerSecond = 3;
inline constexpr std::uint32_t kStepRunAtFirst = 16;  // before a rate is known

class StepSampler {
 public:
  void begin(std::uint32_t seed) {
    random_ = seed;
    begin_run(kStepRunAtFirst);
    seen_ = 0;
    drawn_ = 0;
  }

  /// The next step: the length of its run when it is drawn, else 0.
  std::uint32_t take() {
    const std::uint32_t one_of = at_ == chosen_ ? run_ : 0;
    ++seen_;
    if (one_of != 0) ++drawn_;
    if (++at_ == run_) begin_run(run_);
    return one_of;
  }

  std::uint32_t seen() const { return seen_; }    // in this second
  std::uint32_t drawn() const { return drawn_; }  // of those

  void end_second() {
    begin_run(seen_ <= kStepsDrawnPerSecond ? 1 : (seen_ + kStepsDrawnPerSecond - 1) / kStepsDrawnPerSecond);
    seen_ = 0;
    drawn_ = 0;
  }

 private:
  void begin_run(std::uint32_t run) {
    run_ = run;
    at_ = 0;
    chosen_ = static_cast<std::uint32_t>(std::uint64_t{random()} * run >> 32);  // even to run / 2^32
  }

  // Marsaglia's xorshift32 (Journal of Statistical Software 8(14), 2003).
  std::uint32_t random() {
    random_ ^= random_ << 13;
    random_ ^= random_ >> 17;
    random_ ^= random_ << 5;
    return random_;
  }

  std::uint32_t random_ = 1;  // never 0
  std::uint32_t run_ = 1;
  std::uint32_t at_ = 0;
  std::uint32_t chosen_ = 0;
  std::uint32_t seen_ = 0;
  std::uint32_t drawn_ = 0;
};

}  // namespace firmware
