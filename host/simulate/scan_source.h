// SPDX-License-Identifier: Apache-2.0
// Whatever the virtual jig takes its scans from: a supply, or the jig's own test plugs.
#pragma once

#include <cstdint>
#include <vector>

#include "proto/wire/scan_stream.h"

namespace host::simulate {

class ScanSource {
 public:
  virtual ~ScanSource() = default;

  /// The next 32 scans. `edges` is cleared and filled in order of time, at most wire::kScanEdgesMax. `outputs` is what
  /// the jig drives during this block.
  virtual void next_block(wire::ScanCodes& codes, std::vector<wire::ScanEdge>& edges,
                          const wire::JigOutputs& outputs) = 0;
  virtual std::uint64_t next_scan() const = 0;  // index of the first scan of the next block; starts at 0
  virtual double scan_rate_hz() const = 0;
};

}  // namespace host::simulate
