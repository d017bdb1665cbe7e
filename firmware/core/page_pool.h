// SPDX-License-Identifier: Apache-2.0
// Byte streams of unequal length out of one fixed store: chains of pages, written at the end and read from the start.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>

namespace firmware {

inline constexpr std::size_t kPageBytes = 512;
inline constexpr std::size_t kPageCount = 98;  // 49 KiB

using PageIndex = std::uint8_t;
inline constexpr PageIndex kNoPage = 0xFF;
static_assert(kPageCount < kNoPage);

/// One chain; belongs to the pool that fills it.
struct PageChain {
  PageIndex first = kNoPage;
  PageIndex last = kNoPage;
  std::uint16_t read_at = 0;   // in the first page
  std::uint16_t write_at = 0;  // in the last page
};

class PagePool {
 public:
  PagePool() {
    for (std::size_t k = 0; k < kPageCount; ++k) {
      next_[k] = k + 1 < kPageCount ? static_cast<PageIndex>(k + 1) : kNoPage;
    }
  }

  std::size_t free_pages() const { return free_count_; }

  /// Pages that `bytes` more would take.
  static std::size_t pages_needed(const PageChain& chain, std::size_t bytes) {
    const std::size_t room = chain.last == kNoPage ? 0 : kPageBytes - chain.write_at;
    return bytes <= room ? 0 : (bytes - room + kPageBytes - 1) / kPageBytes;
  }

  /// The caller has made sure of the pages.
  void append(PageChain& chain, std::span<const std::byte> bytes) {
    while (!bytes.empty()) {
      if (chain.last == kNoPage || chain.write_at == kPageBytes) extend(chain);
      const std::size_t count = std::min<std::size_t>(bytes.size(), kPageBytes - chain.write_at);
      std::memcpy(&pages_[chain.last][chain.write_at], bytes.data(), count);
      chain.write_at = static_cast<std::uint16_t>(chain.write_at + count);
      bytes = bytes.subspan(count);
    }
  }

  /// The caller has made sure that so many bytes are left. Pages read to their end are free again.
  void read(PageChain& chain, std::span<std::byte> out) {
    while (!out.empty()) {
      const std::size_t count = std::min<std::size_t>(out.size(), kPageBytes - chain.read_at);
      std::memcpy(out.data(), &pages_[chain.first][chain.read_at], count);
      chain.read_at = static_cast<std::uint16_t>(chain.read_at + count);
      out = out.subspan(count);
      if (chain.read_at == kPageBytes) release_first(chain);
    }
  }

  void release(PageChain& chain) {
    while (chain.first != kNoPage) release_first(chain);
    chain = PageChain{};
  }

 private:
  void extend(PageChain& chain) {
    const PageIndex page = free_;
    free_ = next_[page];
    --free_count_;
    next_[page] = kNoPage;
    if (chain.last == kNoPage) {
      chain.first = page;
      chain.read_at = 0;
    } else {
      next_[chain.last] = page;
    }
    chain.last = page;
    chain.write_at = 0;
  }

  void release_first(PageChain& chain) {
    const PageIndex page = chain.first;
    chain.first = next_[page];
    if (chain.first == kNoPage) chain.last = kNoPage;
    chain.read_at = 0;
    next_[page] = free_;
    free_ = page;
    ++free_count_;
  }

  std::array<std::array<std::byte, kPageBytes>, kPageCount> pages_{};
  std::array<PageIndex, kPageCount> next_{};
  PageIndex free_ = 0;
  std::size_t free_count_ = kPageCount;
};

}  // namespace firmware
