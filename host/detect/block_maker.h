// SPDX-License-Identifier: Apache-2.0
// Prepares the blocks of one session: what several detectors would otherwise compute again.
#pragma once

#include <cstdint>
#include <vector>

#include "host/detect/block.h"
#include "host/detect/settled.h"
#include "host/detect/standby_presence.h"
#include "host/judge/rating.h"
#include "host/model/jig.h"

namespace host::detect {

class BlockMaker {
 public:
  BlockMaker(const model::Jig& jig, const steadyrail::proto::Unit* unit, const steadyrail::proto::LimitSet* limits);
  /// The block stays valid until the next call. Batches must not overlap; `windows` must hold 1..32 of them.
  const Block& make(const decode::WindowBatch& batch);
  void gap();
  const judge::Rating& rating() const { return rating_; }
  const SettledFinder& settled() const { return settled_; }

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
  SettledFinder settled_;
  StandbyPresence standby_;
  Block block_;
  std::uint64_t next_ = 0;
  bool begun_ = false;
};

}  // namespace host::detect
