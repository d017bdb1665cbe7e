// SPDX-License-Identifier: Apache-2.0
#include "tests/simulation/fault_line.h"

#include <algorithm>

#include "proto/wire/frame.h"

namespace testing_jig {

Bytes FaultLine::carry(const Bytes& frame) {
  Bytes arrives = frame;
  bool touched = false;
  const auto at = [&] { return static_cast<std::ptrdiff_t>(below(arrives.size())); };
  const auto run = [&](std::ptrdiff_t from, std::uint64_t most) {
    return std::min<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(1 + below(most)), std::ssize(arrives) - from);
  };
  if (happens(faults_.bit_flipped)) {
    arrives[static_cast<std::size_t>(at())] ^= std::byte{1} << below(8);
    touched = true;
  }
  if (happens(faults_.bytes_lost)) {
    const auto from = at();
    arrives.erase(arrives.begin() + from, arrives.begin() + from + run(from, 64));
    touched = true;
  }
  if (!arrives.empty() && happens(faults_.bytes_doubled)) {
    const auto from = at();
    const Bytes again(arrives.begin() + from, arrives.begin() + from + run(from, 16));
    arrives.insert(arrives.begin() + from, again.begin(), again.end());
    touched = true;
  }
  if (happens(faults_.frame_lost)) {
    arrives.clear();
    touched = true;
  }
  if (happens(faults_.frame_doubled)) {
    const Bytes once = arrives;
    arrives.insert(arrives.end(), once.begin(), once.end());
  }
  const bool flood = happens(faults_.flood_added);
  if (flood || happens(faults_.noise_added)) {
    Bytes noise(flood ? wire::kFrameBytesMax + 1 + below(5000) : 1 + below(300));
    for (std::byte& byte : noise) byte = static_cast<std::byte>(flood ? 1 + below(255) : below(256));
    arrives.insert(arrives.begin(), noise.begin(), noise.end());
    touched = true;
  }
  if (touched) ++hit_;
  return arrives;
}

}  // namespace testing_jig
