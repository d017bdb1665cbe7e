// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/fault_record.h"

#include <bit>

namespace firmware::chip {
namespace {

constexpr std::uint32_t kSeal = 0xFA017EC0;

std::uint32_t sum_of(const FaultRecord& record) {
  std::uint32_t sum = kSeal;
  for (const std::uint32_t word : std::bit_cast<std::array<std::uint32_t, sizeof record / 4>>(record)) {
    sum = std::rotl(sum, 5) ^ word;
  }
  return sum;
}

}  // namespace

void seal(KeptFault& kept, const FaultRecord& record) {
  kept.record = record;
  kept.seal = sum_of(record);
}

std::optional<FaultRecord> take(KeptFault& kept) {
  if (kept.seal != sum_of(kept.record)) return std::nullopt;
  kept.seal = ~kept.seal;
  return kept.record;
}

}  // namespace firmware::chip
