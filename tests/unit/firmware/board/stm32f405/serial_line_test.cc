// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/serial_line.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "tests/unit/firmware/board/stm32f405/simulated_dma.h"

namespace firmware::chip {
namespace {

using testing::SimulatedDma;

constexpr std::uint32_t kReceive = 5;
constexpr std::uint32_t kTransmit = 7;
constexpr std::uint32_t kEnable = 1;

std::vector<std::byte> bytes_of(const std::string& text) {
  const auto bytes = std::as_bytes(std::span(text));
  return {bytes.begin(), bytes.end()};
}

/// The UART with its two streams: what the transmit stream is started with goes on the line when the test says so.
class SerialLineTest : public ::testing::Test {
 protected:
  SerialLineTest() {
    dma.registers.stream[kTransmit].CR.on_write = [this](std::uint32_t written) {
      if ((written & kEnable) != 0) started = true;
      return written;
    };
    EXPECT_TRUE(line.begin(2'000'000));
  }

  void write(const std::string& text) { EXPECT_EQ(line.try_write(bytes_of(text)), text.size()); }

  /// The buffer under way goes out; both buffers are looked at, one of them was given to the stream.
  std::string sent() {
    EXPECT_TRUE(started);
    started = false;
    const std::uint32_t count = dma.registers.stream[kTransmit].NDTR.value;
    const std::uint32_t address = dma.registers.stream[kTransmit].M0AR.value;
    const auto& buffer =
        *std::ranges::find_if(buffers.send, [&](const auto& b) { return bus_address(b.data()) == address; });
    const std::string text(reinterpret_cast<const char*>(buffer.data()), count);
    end_with(DmaStream::kDone);
    return text;
  }

  void end_with(std::uint32_t flags) {
    dma.registers.stream[kTransmit].CR.value &= ~kEnable;
    dma.raise(kTransmit, flags);
    line.on_sent();
  }

  void arrive(const std::string& text) {
    for (const char letter : text) {
      Reg& left = dma.registers.stream[kReceive].NDTR;
      buffers.receive[kReceiveBytes - left.value] = static_cast<std::byte>(letter);
      --left.value;
      if (left.value == kReceiveBytes / 2) dma.raise(kReceive, DmaStream::kHalfDone);
      if (left.value == 0) {
        dma.raise(kReceive, DmaStream::kDone);
        left.value = kReceiveBytes;
      }
    }
  }

  std::string taken() {
    std::string text(kReceiveBytes * 2, 0);
    text.resize(line.take(std::as_writable_bytes(std::span(text))));
    return text;
  }

  SimulatedDma dma;
  Usart usart;
  SerialBuffers buffers{};
  DmaStream receive{dma.registers, kReceive};
  DmaStream transmit{dma.registers, kTransmit};
  SerialLine line{usart, receive, transmit, buffers};
  bool started = false;
};

/// 84 MHz / 2 Mbaud and / 3 Mbaud are whole; 84e6 / 921,600 = 91.1.
TEST_F(SerialLineTest, DividesTheBusClock) {
  EXPECT_EQ(usart.BRR.value, 42U);
  line.begin(3'000'000);
  EXPECT_EQ(usart.BRR.value, 28U);
  line.begin(921'600);
  EXPECT_EQ(usart.BRR.value, 91U);
}

TEST_F(SerialLineTest, SendsWhatIsWrittenInOrderThroughTwoBuffers) {
  write("one");
  write("two");
  write("three");
  EXPECT_EQ(sent(), "one");
  EXPECT_EQ(sent(), "twothree");
  EXPECT_FALSE(started) << "nothing is left to send";
  write("four");
  EXPECT_EQ(sent(), "four");
}

TEST_F(SerialLineTest, TakesNoMoreThanItHasRoomFor) {
  write("x");  // under way
  const std::string most(kSendBytes, 'y');
  EXPECT_EQ(line.room(), kSendBytes);
  EXPECT_EQ(line.try_write(bytes_of(most + "z")), kSendBytes);
  EXPECT_EQ(line.room(), 0U);
  EXPECT_EQ(line.try_write(bytes_of("z")), 0U);
  EXPECT_EQ(sent(), "x");
  EXPECT_EQ(line.room(), kSendBytes);
  EXPECT_EQ(sent(), most);
}

TEST_F(SerialLineTest, CountsABufferThatCannotBeSentAndGoesOn) {
  write("lost");
  write("next");
  started = false;
  end_with(DmaStream::kTransferError);
  EXPECT_EQ(line.faults().send_errors, 1U);
  EXPECT_EQ(sent(), "next");
}

TEST_F(SerialLineTest, ReceivesAcrossTheRingsEndInAnyPieces) {
  std::string all;
  std::string heard;
  for (std::size_t k = 0; k < 300; ++k) {
    const std::string piece(k % 37 + 1, static_cast<char>('a' + k % 26));
    arrive(piece);
    all += piece;
    heard += taken();
  }
  EXPECT_EQ(heard, all);
  EXPECT_EQ(line.faults().ring_overruns, 0U);
}

TEST_F(SerialLineTest, ThrowsAwayARingThatWasOverrun) {
  arrive("abc");
  EXPECT_EQ(taken(), "abc");
  arrive(std::string(kReceiveBytes + 5, 'x'));
  EXPECT_EQ(taken(), "");
  EXPECT_EQ(line.faults().ring_overruns, 1U);
  arrive("sound");
  EXPECT_EQ(taken(), "sound");
}

TEST_F(SerialLineTest, ClearsAndCountsErrorsOfTheLine) {
  bool read = false;
  usart.DR.on_read = [&](std::uint32_t held) {
    read = true;
    return held;
  };
  for (const std::uint32_t error : {0U, 1U, 2U, 3U}) {  // parity, framing, noise, overrun
    read = false;
    usart.SR.value = 1U << error;
    line.on_line();
    EXPECT_TRUE(read) << "only a read of the data register clears error " << error;
    EXPECT_EQ(line.faults().line_errors, error + 1);
  }
  usart.SR.value = 1U << 4;  // idle: no error
  line.on_line();
  EXPECT_EQ(line.faults().line_errors, 4U);
  arrive("still there");
  EXPECT_EQ(taken(), "still there");
}

TEST_F(SerialLineTest, ReceivesAgainAfterItsStreamFailed) {
  arrive("half a comm");
  dma.raise(kReceive, DmaStream::kTransferError);
  EXPECT_EQ(taken(), "");
  EXPECT_EQ(line.faults().line_errors, 1U);
  arrive("whole");
  EXPECT_EQ(taken(), "whole");
}

}  // namespace
}  // namespace firmware::chip
