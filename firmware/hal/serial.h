// SPDX-License-Identifier: Apache-2.0
// The line to the host, both ways. One writer (Telemetry) and one reader own it.
#pragma once

#include <cstddef>
#include <span>

namespace firmware {

class SerialTransmitter {
 public:
  virtual ~SerialTransmitter() = default;
  /// Bytes that a write would take now. A frame is only begun when this is not 0, so that what it stamps is current.
  virtual std::size_t room() const = 0;
  /// Takes as many of `bytes` as fit now, from the front; returns how many. Never waits.
  [[nodiscard]] virtual std::size_t try_write(std::span<const std::byte> bytes) = 0;
};

class SerialReceiver {
 public:
  virtual ~SerialReceiver() = default;
  /// Moves what has arrived into `into`; returns how many bytes. Never waits.
  virtual std::size_t take(std::span<std::byte> into) = 0;
};

}  // namespace firmware
