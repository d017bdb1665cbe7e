// SPDX-License-Identifier: Apache-2.0
// When +5 V standby is due though the supply is off: it stands whenever the mains is there, whatever PS_ON# and PWR_OK
// say. Without an AC-present channel nobody can tell a standby that fails from a mains plug that was pulled.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "host/detect/block.h"
#include "limits.pb.h"

namespace host::detect {

class StandbyPresence {
 public:
  StandbyPresence(const model::Jig& jig, const steadyrail::proto::LimitSet* limits);

  /// Windows of the block in which the mains was there and standby had come up with it, or had had 2 s to (the start of
  /// +5 V standby in every edition). Never before the adapter has shown mains, nor while it shows none.
  std::uint32_t find(const Block& block);
  /// What stood before a hole says nothing about what follows it.
  void gap();

 private:
  bool mains(const Block& block, std::uint32_t window);
  bool risen(const Block& block, std::uint32_t window) const;

  struct Standby {
    std::size_t channel;
    std::int32_t up_code;  // least code inside the limits
  };

  const model::JigChannel* adapter_;
  std::vector<Standby> standbys_;
  std::uint32_t half_cycle_scans_;
  std::uint32_t start_scans_;
  double peak_v_ = 0;              // greatest the adapter has shown
  std::uint64_t alive_until_ = 0;  // the last swing of the adapter vouches for the mains so long
  bool mains_ = false;
  std::uint64_t since_ = 0;  // of the mains
  bool up_ = false;
};

}  // namespace host::detect
