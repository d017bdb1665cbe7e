// SPDX-License-Identifier: Apache-2.0
// A bounded queue of byte strings in one ring. Drop-newest: a push that does not fit changes nothing.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace firmware {

template <std::size_t Bytes>
class ByteQueue {
  static_assert(Bytes <= 65536);

 public:
  /// False when there is no room; the queue is then as before.
  [[nodiscard]] bool push(std::span<const std::byte> item) {
    if (item.size() + kLengthBytes > Bytes - used_) return false;
    put(static_cast<std::byte>(item.size() & 0xFF));
    put(static_cast<std::byte>(item.size() >> 8));
    for (const std::byte value : item) put(value);
    ++count_;
    return true;
  }

  /// Moves the oldest into `out`, which must hold it; returns its bytes. The queue must not be empty.
  std::size_t pop(std::span<std::byte> out) {
    std::size_t bytes = static_cast<std::size_t>(get());
    bytes |= static_cast<std::size_t>(get()) << 8;
    for (std::size_t i = 0; i < bytes; ++i) out[i] = get();
    --count_;
    return bytes;
  }

  bool empty() const { return count_ == 0; }
  std::size_t count() const { return count_; }
  std::size_t room() const { return Bytes - used_ < kLengthBytes ? 0 : Bytes - used_ - kLengthBytes; }

 private:
  static constexpr std::size_t kLengthBytes = 2;

  void put(std::byte value) {
    ring_[(head_ + used_) % Bytes] = value;
    ++used_;
  }
  std::byte get() {
    const std::byte value = ring_[head_];
    head_ = (head_ + 1) % Bytes;
    --used_;
    return value;
  }

  std::array<std::byte, Bytes> ring_{};
  std::size_t head_ = 0;
  std::size_t used_ = 0;
  std::size_t count_ = 0;
};

}  // namespace firmware
