// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/serial_line.h"

#include <algorithm>
#include <cstring>

#include "firmware/board/stm32f405/clock_tree.h"
#include "firmware/board/stm32f405/cpu.h"
#include "firmware/core/health.h"

namespace firmware::chip {
namespace {

// USART_SR
constexpr std::uint32_t kParityError = 1U << 0;
constexpr std::uint32_t kFramingError = 1U << 1;
constexpr std::uint32_t kNoise = 1U << 2;
constexpr std::uint32_t kOverrun = 1U << 3;
constexpr std::uint32_t kIdle = 1U << 4;
constexpr std::uint32_t kErrors = kParityError | kFramingError | kNoise | kOverrun;
// USART_CR1
constexpr std::uint32_t kReceive = 1U << 2;
constexpr std::uint32_t kTransmit = 1U << 3;
constexpr std::uint32_t kIdleInterrupt = 1U << 4;
constexpr std::uint32_t kEnable = 1U << 13;
// USART_CR3
constexpr std::uint32_t kErrorInterrupt = 1U << 0;
constexpr std::uint32_t kReceiveDma = 1U << 6;
constexpr std::uint32_t kTransmitDma = 1U << 7;

constexpr std::uint32_t kDmaChannel = 4;
constexpr std::size_t kHalf = kReceiveBytes / 2;

}  // namespace

SerialLine::SerialLine(Usart& usart, DmaStream& receive, DmaStream& transmit, SerialBuffers& buffers)
    : usart_(usart), receive_(receive), transmit_(transmit), buffers_(buffers) {}

bool SerialLine::begin(std::uint32_t baud) {
  usart_.CR1 = 0;
  usart_.BRR = (kApb2Hz + baud / 2) / baud;  // 16 samples a bit: the register holds the quotient in 1/16
  usart_.CR2 = 0;
  usart_.CR3 = kReceiveDma | kTransmitDma | kErrorInterrupt;
  const bool stopped = transmit_.set_up(
      {.channel = kDmaChannel, .direction = DmaDirection::kToPeripheral, .priority = 1, .interrupt_when_done = true},
      usart_.DR);
  if (!stopped || !receive_again()) return false;
  usart_.CR1 = kEnable | kReceive | kTransmit | kIdleInterrupt;
  return true;
}

bool SerialLine::receive_again() {
  if (!receive_.set_up({.channel = kDmaChannel, .circular = true, .priority = 1}, usart_.DR)) return false;
  tail_ = 0;
  receive_.start(buffers_.receive.data(), kReceiveBytes);
  return true;
}

std::size_t SerialLine::room() const {
  return kSendBytes - filled_;
}

std::size_t SerialLine::try_write(std::span<const std::byte> bytes) {
  const InterruptLock lock;
  const std::size_t count = std::min(bytes.size(), room());
  std::memcpy(buffers_.send[filling_].data() + filled_, bytes.data(), count);
  filled_ += count;
  if (!sending_) send_filled();
  return count;
}

void SerialLine::send_filled() {
  sending_ = filled_ != 0;
  if (!sending_) return;
  transmit_.start(buffers_.send[filling_].data(), static_cast<std::uint32_t>(filled_));
  filling_ = 1 - filling_;
  filled_ = 0;
}

void SerialLine::on_sent() {
  const std::uint32_t flags = transmit_.flags();
  if ((flags & (DmaStream::kDone | DmaStream::kTransferError)) == 0) return;
  if ((flags & DmaStream::kTransferError) != 0) {
    count_up(faults_.send_errors);
    transmit_.stop();
  }
  transmit_.clear(flags);
  send_filled();
}

void SerialLine::on_line() {
  const std::uint32_t status = usart_.SR;
  if ((status & (kErrors | kIdle)) == 0) return;
  // Reading the data register after the status clears them all. The byte belongs to the error, or is none.
  [[maybe_unused]] const std::uint32_t byte = usart_.DR;
  if ((status & kErrors) != 0) count_up(faults_.line_errors);
}

std::size_t SerialLine::take(std::span<std::byte> into) {
  if ((receive_.flags() & DmaStream::kTransferError) != 0 || !receive_.running()) {
    count_up(faults_.line_errors);
    receive_again();
    return 0;
  }
  const std::size_t head = (kReceiveBytes - receive_.left()) % kReceiveBytes;
  if (lapped(head)) {
    count_up(faults_.ring_overruns);
    tail_ = head;
    return 0;
  }
  std::size_t count = 0;
  while (tail_ != head && count < into.size()) {
    into[count++] = buffers_.receive[tail_];
    tail_ = (tail_ + 1) % kReceiveBytes;
  }
  return count;
}

// The stream's flags tell which borders it has passed since they were cleared: one that does not lie between tail and
// head means that it has been round.
bool SerialLine::lapped(std::size_t head) {
  const std::uint32_t flags = receive_.flags() & (DmaStream::kHalfDone | DmaStream::kDone);
  receive_.clear(flags);
  const bool wraps = head < tail_;
  const bool passes_half = wraps ? tail_ < kHalf || head >= kHalf : tail_ < kHalf && head >= kHalf;
  return ((flags & DmaStream::kHalfDone) != 0 && !passes_half) || ((flags & DmaStream::kDone) != 0 && !wraps);
}

}  // namespace firmware::chip
