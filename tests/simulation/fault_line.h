// SPDX-License-Identifier: Apache-2.0
// A line that loses, doubles, flips and cuts what a jig says, by one seed.
#pragma once

#include <cstdint>
#include <random>

#include "tests/simulation/jig_frames.h"

namespace testing_jig {

/// Chances per frame, in 1/1000.
struct LineFaults {
  std::uint32_t frame_lost = 0;  // in the jig's queue: the sequence number is spent, nothing is sent
  std::uint32_t frame_doubled = 0;
  std::uint32_t bit_flipped = 0;
  std::uint32_t bytes_lost = 0;  // a run of 1 to 64 inside the frame, the delimiter perhaps among them
  std::uint32_t bytes_doubled = 0;
  std::uint32_t noise_added = 0;  // 1 to 300 arbitrary bytes before it
  std::uint32_t flood_added = 0;  // more noise than any frame has, without a delimiter
};

class FaultLine {
 public:
  FaultLine(std::uint64_t seed, LineFaults faults) : random_(seed), faults_(faults) {}

  /// What arrives of one frame.
  Bytes carry(const Bytes& frame);
  /// Frames that did not arrive as they were sent.
  std::uint64_t hit() const { return hit_; }
  std::uint64_t below(std::uint64_t end) { return random_() % end; }

 private:
  bool happens(std::uint32_t per_mille) { return below(1000) < per_mille; }

  std::mt19937_64 random_;
  LineFaults faults_;
  std::uint64_t hit_ = 0;
};

}  // namespace testing_jig
