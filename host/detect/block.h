// SPDX-License-Identifier: Apache-2.0
// One batch of windows with what every detector wants to know about it, computed once.
#pragma once

#include <array>
#include <cstdint>

#include "host/decode/sink.h"
#include "host/judge/rating.h"
#include "host/model/jig.h"

namespace host::detect {

/// Up to 32 windows. Masks have one bit a window, bit 0 the first.
struct Block {
  const wire::DecodedWindows* windows = nullptr;
  std::uint64_t first = 0;
  std::uint32_t scans = 0;  // of one window
  std::uint32_t count = 0;  // of windows
  std::uint32_t armed_set = 0;
  bool follows = false;  // directly after the block before: nothing was lost between
  std::uint32_t on = 0;  // the supply was on: PWR_OK high, PS_ON# not high, through the whole window
  std::array<std::int16_t, wire::kChannelCount> low{};    // least min of the block
  std::array<std::int16_t, wire::kChannelCount> high{};   // greatest max
  std::array<std::int64_t, wire::kChannelCount> sum_8{};  // of mean_8
  judge::BlockLoads loads;
  judge::BlockRating rating{};

  std::uint64_t end() const { return first + std::uint64_t{scans} * count; }
  std::uint64_t start_of(std::uint32_t window) const { return first + std::uint64_t{scans} * window; }
  std::uint32_t all() const { return count >= 32 ? 0xFFFFFFFFU : (1U << count) - 1; }
};

/// Prepares blocks of one session.
class BlockMaker {
 public:
  BlockMaker(const model::Jig& jig, const steadyrail::proto::Unit* unit, const steadyrail::proto::LimitSet* limits);
  /// The block stays valid until the next call. Batches must not overlap; `windows` must hold 1..32 of them.
  const Block& make(const decode::WindowBatch& batch);
  void gap();
  const judge::Rating& rating() const { return rating_; }

 private:
  void reduce(const decode::WindowBatch& batch);
  void find_on();

  std::vector<const model::JigChannel*> used_;
  std::vector<const model::JigChannel*> currents_;
  const model::JigChannel* pwr_ok_;
  const model::JigChannel* ps_on_;
  std::int32_t pwr_ok_code_ = 0;
  std::int32_t ps_on_code_ = 0;
  double scan_period_s_;
  judge::Rating rating_;
  Block block_;
  std::uint64_t next_ = 0;
  bool begun_ = false;
};

}  // namespace host::detect
