// SPDX-License-Identifier: Apache-2.0
// A bounded queue of byte strings in one ring. Drop-newest: a push that does not fit changes nothing.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>

namespace firmware {

template <std::size_t Bytes>
class ByteQueue {
  static_assert(Bytes <= 65536);

 public:
  /// False when there is no room; the queue is then as before.
  [[nodiscard]] bool push(std::span<const std::byte> item) {
    if (item.size() + kLengthBytes > Bytes - used_) return false;
    const std::array length{static_cast<std::byte>(item.size() & 0xFF), static_cast<std::byte>(item.size() >> 8)};
    put(length);
    put(item);
    ++count_;
    return true;
  }

  /// Moves the oldest into `out`, which must hold it; returns its bytes. The queue must not be empty.
  std::size_t pop(std::span<std::byte> out) {
    std::array<std::byte, kLengthBytes> length;
    get(length);
    const std::size_t bytes = std::to_integer<std::size_t>(length[0]) | std::to_integer<std::size_t>(length[1]) << 8;
    get(out.first(bytes));
    --count_;
    return bytes;
  }

  bool empty() const { return count_ == 0; }
  std::size_t count() const { return count_; }
  std::size_t room() const { return Bytes - used_ < kLengthBytes ? 0 : Bytes - used_ - kLengthBytes; }

 private:
  static constexpr std::size_t kLengthBytes = 2;

  // In one piece, or in two around the ring's end.
  void put(std::span<const std::byte> bytes) {
    const std::size_t at = (head_ + used_) % Bytes;
    const std::size_t first = std::min(bytes.size(), Bytes - at);
    std::memcpy(&ring_[at], bytes.data(), first);
    if (first != bytes.size()) std::memcpy(ring_.data(), bytes.data() + first, bytes.size() - first);
    used_ += bytes.size();
  }
  void get(std::span<std::byte> out) {
    const std::size_t first = std::min(out.size(), Bytes - head_);
    std::memcpy(out.data(), &ring_[head_], first);
    if (first != out.size()) std::memcpy(out.data() + first, ring_.data(), out.size() - first);
    head_ = (head_ + out.size()) % Bytes;
    used_ -= out.size();
  }

  std::array<std::byte, Bytes> ring_{};
  std::size_t head_ = 0;
  std::size_t used_ = 0;
  std::size_t count_ = 0;
};

}  // namespace firmware
