// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/raw_stream.h"

namespace firmware {

void RawStream::on_block(const ScanBlock& block) {
  std::uint32_t left = channel_mask_;
  while (left != 0) {
    const auto take = [&](std::size_t channel, std::int16_t* codes) {
      for (std::size_t s = 0; s < wire::kScansPerBlock; ++s) codes[s] = block.codes[s][channel];
    };
    left = pack_scans(left, wire::kScansPerBlock, take, packed_);
    telemetry_.raw(block.first_scan, packed_);
  }
}

}  // namespace firmware
