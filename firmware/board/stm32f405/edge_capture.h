// SPDX-License-Identifier: Apache-2.0
// Edges of PWR_OK and PS_ON# from their comparators, caught by timers. Each line has two comparators, one at the level
// it falls below and one at the level it rises above; each comparator feeds two captures of one timer, one an edge, so
// that a pulse of a microsecond is whole even when the interrupt comes later. The timers restart with every scan: a
// capture is a place within its scan.
//
//   rises above the upper level: high.  falls below the lower level: low.
//   dips below the upper only, or peaks above the lower only: a glitch with its width.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "firmware/board/stm32f405/registers.h"
#include "firmware/hal/scan_source.h"

namespace firmware::chip {

/// Moment of an edge, in ticks of 84 MHz since scan 0.
using Ticks = std::uint64_t;

/// One comparator's pair of captures.
class ComparatorCapture {
 public:
  struct Edges {
    std::optional<Ticks> rise = std::nullopt;
    std::optional<Ticks> fall = std::nullopt;
    bool missed = false;  // more edges came than the pair holds
  };

  /// `trigger`: the timer's internal trigger that is TIM2. `first`: 0 or 2, the first of the two captures; both listen
  /// to the same input of the pair, `listen_to` 0 or 1. `prescaler` brings the timer's clock to 84 MHz.
  ComparatorCapture(Timer& timer, std::uint32_t trigger, std::uint32_t first, std::uint32_t listen_to,
                    std::uint32_t prescaler = 0)
      : timer_(timer), trigger_(trigger), input_(first), listen_to_(listen_to), prescaler_(prescaler) {}

  void begin();
  /// What was caught since; `scan_now` and `ticks_now` are read right before. A capture is at most one scan old.
  Edges take(std::uint64_t scan_now, std::uint32_t ticks_now);

 private:
  std::optional<Ticks> take_one(std::uint32_t capture, std::uint64_t scan_now, std::uint32_t ticks_now);

  Timer& timer_;
  std::uint32_t trigger_;
  std::uint32_t input_;
  std::uint32_t listen_to_;
  std::uint32_t prescaler_;
};

/// Turns what two comparators saw into edges and glitches of their line.
class LineWatch {
 public:
  LineWatch(std::uint8_t line, bool high) : line_(line), high_(high) {}

  bool high() const { return high_; }

  /// Calls `tell(LineEdge)` for what the edges mean, in order of time.
  template <typename Tell>
  void take(const ComparatorCapture::Edges& lower, const ComparatorCapture::Edges& upper, Tell tell) {
    std::array<Step, 4> steps{{{lower.fall, Move::kBelowLower},
                               {lower.rise, Move::kAboveLower},
                               {upper.fall, Move::kBelowUpper},
                               {upper.rise, Move::kAboveUpper}}};
    for (Step* step = first_of(steps); step != nullptr; step = first_of(steps)) {
      move(step->move, *step->at);
      step->at.reset();
      if (told_) tell(*told_);
      told_.reset();
    }
  }

 private:
  enum class Move : std::uint8_t { kBelowLower, kAboveLower, kBelowUpper, kAboveUpper };
  struct Step {
    std::optional<Ticks> at;
    Move move;
  };

  /// The earliest that is left; null when none is.
  static Step* first_of(std::array<Step, 4>& steps);
  void move(Move move, Ticks at);
  void say(Ticks at, bool high, Ticks width);

  std::uint8_t line_;
  bool high_;
  std::optional<Ticks> dip_;   // below the upper level since, while high
  std::optional<Ticks> peak_;  // above the lower level since, while low
  std::optional<LineEdge> told_;
};

/// Edges on their way from the interrupt to their block. Full: the newest is dropped and counted.
class EdgeQueue {
 public:
  void push(const LineEdge& edge);
  /// Moves those before `end_scan` into the block; later ones wait for theirs.
  void fill(ScanBlock& block, std::uint64_t end_scan);
  std::uint32_t dropped() const { return dropped_; }

 private:
  std::array<LineEdge, 32> edges_{};
  std::size_t count_ = 0;
  std::uint32_t dropped_ = 0;
};

}  // namespace firmware::chip
