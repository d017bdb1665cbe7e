// SPDX-License-Identifier: Apache-2.0
// What the jig itself reports as lost or thinned out, added up over its restarts.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "link.pb.h"

namespace host::decode {

/// Status counts begin again at each boot; this keeps the sum.
class JigLosses {
 public:
  void take(const steadyrail::proto::Status& status) { latest_ = status; }
  void restarted();
  /// One sentence for each kind of loss that occurred.
  std::vector<std::string> remarks() const;

 private:
  struct Counts {
    std::uint64_t scans_lost = 0;
    std::uint64_t blocks_merged = 0;
    std::uint64_t blocks_dropped = 0;
    std::uint64_t events_dropped = 0;
    std::uint64_t captures_dropped = 0;
    std::uint64_t captures_late = 0;
    std::uint64_t captures_cut = 0;
  };
  Counts total() const;

  Counts before_;
  steadyrail::proto::Status latest_;
};

}  // namespace host::decode
