// SPDX-License-Identifier: Apache-2.0
// The UART behind the isolated USB bridge. Out: two buffers, one filled while the DMA sends the other. In: DMA round a
// ring for ever; the idle interrupt only wakes the main loop. Errors are counted and cost the bytes they hit: the
// frame's checksum finds out which frame that was.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/board/stm32f405/dma_stream.h"
#include "firmware/hal/serial.h"

namespace firmware::chip {

inline constexpr std::size_t kSendBytes = 1024;    // each of two; 5 ms at 2 Mbaud
inline constexpr std::size_t kReceiveBytes = 512;  // 2.5 ms at 2 Mbaud; the host sends a few hundred bytes a second

/// Where the DMA reads and writes. Not in core-coupled memory.
struct SerialBuffers {
  std::array<std::array<std::byte, kSendBytes>, 2> send;
  std::array<std::byte, kReceiveBytes> receive;
};

struct SerialFaults {
  std::uint32_t line_errors = 0;    // noise, framing, parity or a byte that came too soon
  std::uint32_t ring_overruns = 0;  // the host sent more than was taken: what the ring held is thrown away
  std::uint32_t send_errors = 0;    // a buffer that could not be sent
};

class SerialLine : public SerialTransmitter, public SerialReceiver {
 public:
  SerialLine(Usart& usart, DmaStream& receive, DmaStream& transmit, SerialBuffers& buffers);

  /// False when a stream does not stop. `baud` divides the bus clock to within 1 %.
  bool begin(std::uint32_t baud);

  std::size_t room() const override;
  std::size_t try_write(std::span<const std::byte> bytes) override;
  std::size_t take(std::span<std::byte> into) override;

  /// In the UART's interrupt: idle line and errors.
  void on_line();
  /// In the transmit stream's interrupt: a buffer has been sent, or could not be.
  void on_sent();

  const SerialFaults& faults() const { return faults_; }

 private:
  void send_filled();
  bool receive_again();
  bool lapped(std::size_t head);

  Usart& usart_;
  DmaStream& receive_;
  DmaStream& transmit_;
  SerialBuffers& buffers_;
  std::size_t filling_ = 0;  // the other one is sent
  std::size_t filled_ = 0;
  bool sending_ = false;
  std::size_t tail_ = 0;
  SerialFaults faults_;
};

}  // namespace firmware::chip
