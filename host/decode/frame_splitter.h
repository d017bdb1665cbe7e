// SPDX-License-Identifier: Apache-2.0
// Cuts a stream of bytes, split anywhere, at its delimiters.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <vector>

#include "proto/wire/frame.h"

namespace host::decode {

/// Holds back at most one frame; a longer run of bytes without a delimiter is only counted.
class FrameSplitter {
 public:
  /// Calls `whole(frame_with_delimiter)` for each frame that ends in `bytes`, empty ones included (one delimiter), and
  /// `overlong(bytes_with_delimiter)` with the length of each run too long to be a frame.
  template <typename Whole, typename Overlong>
  void feed(std::span<const std::byte> bytes, Whole&& whole, Overlong&& overlong) {
    while (!bytes.empty()) {
      const void* at = std::memchr(bytes.data(), 0, bytes.size());
      if (at == nullptr) {
        keep(bytes);
        return;
      }
      const std::size_t count = static_cast<std::size_t>(static_cast<const std::byte*>(at) - bytes.data()) + 1;
      const auto piece = bytes.first(count);
      bytes = bytes.subspan(count);
      if (held_bytes_ == 0 && count <= wire::kFrameBytesMax) {
        whole(piece);
      } else {
        keep(piece);
        const std::uint64_t total = held_bytes_;
        held_bytes_ = 0;
        if (total <= wire::kFrameBytesMax) {
          whole(std::span<const std::byte>(held_.data(), total));
        } else {
          overlong(total);
        }
      }
    }
  }

  /// Bytes since the last delimiter; the first kFrameBytesMax of them are held().
  std::uint64_t held_bytes() const { return held_bytes_; }
  void reset() { held_bytes_ = 0; }

 private:
  void keep(std::span<const std::byte> bytes) {
    held_.resize(wire::kFrameBytesMax);
    if (held_bytes_ < held_.size()) {
      const std::size_t room = held_.size() - held_bytes_;
      std::memcpy(held_.data() + held_bytes_, bytes.data(), std::min(room, bytes.size()));
    }
    held_bytes_ += bytes.size();
  }

  std::vector<std::byte> held_;
  std::uint64_t held_bytes_ = 0;
};

}  // namespace host::decode
