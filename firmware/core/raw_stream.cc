// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/raw_stream.h"

namespace firmware {

void RawStream::on_block(const ScanBlock& block) {
  std::uint32_t left = channel_mask_;
  while (left != 0) {
    left = pack_scans(
        left, wire::kScansPerBlock, [&](std::uint32_t s, std::size_t c) { return block.codes[s][c]; }, packed_);
    telemetry_.raw(block.first_scan, packed_);
  }
}

}  // namespace firmware
