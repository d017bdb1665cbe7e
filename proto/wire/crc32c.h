// SPDX-License-Identifier: Apache-2.0
// CRC-32C (Castagnoli), as in RFC 3720 appendix B.4: polynomial 0x1EDC6F41 reflected, initial and final all ones.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace wire {

/// Checksum of `bytes`; pass the result of an earlier call as `before` to go on where it ended.
std::uint32_t crc32c(std::span<const std::byte> bytes, std::uint32_t before = 0);

/// The same by tables alone: what crc32c() does where the processor has no instruction for it.
std::uint32_t crc32c_by_table(std::span<const std::byte> bytes, std::uint32_t before = 0);

}  // namespace wire
