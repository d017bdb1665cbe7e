// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/converter_bus.h"

namespace firmware::chip {
namespace {

// SPI_CR1: master, software select held high, 16-bit words, clock idle low and data taken at its first edge
constexpr std::uint32_t kMaster = 1U << 2;
constexpr std::uint32_t kEnable = 1U << 6;
constexpr std::uint32_t kSelectHigh = 1U << 8;
constexpr std::uint32_t kSoftwareSelect = 1U << 9;
constexpr std::uint32_t kSixteenBits = 1U << 11;
// SPI_CR2
constexpr std::uint32_t kReceiveDma = 1U << 0;
constexpr std::uint32_t kTransmitDma = 1U << 1;
// SPI_SR
constexpr std::uint32_t kReceived = 1U << 0;
constexpr std::uint32_t kOverrun = 1U << 6;
constexpr std::uint32_t kBusy = 1U << 7;

// Range code 5, 0..4.096 V, for every channel: 24 bits first, the rest of the readout has nothing to say.
constexpr std::uint32_t kRange = 5;
constexpr std::array<std::uint16_t, kWordsPerReadout> kCommand{0xB6DB, 0x6D00};

constexpr std::uint32_t kHalf = kLandingWords / 2;

constexpr std::uint16_t tail_of(std::size_t channel) {
  return static_cast<std::uint16_t>(channel << 3 | kRange);
}

}  // namespace

ConverterBus::ConverterBus(Spi& spi, std::uint32_t divider, DmaStream& receive, DmaStream& transmit,
                           std::uint32_t dma_channel, Landing& landing)
    : spi_(spi),
      divider_(divider),
      receive_(receive),
      transmit_(transmit),
      dma_channel_(dma_channel),
      landing_(landing) {}

bool ConverterBus::begin() {
  spi_.CR1 = 0;
  spi_.CR2 = 0;
  const bool stopped =
      receive_.set_up({.channel = dma_channel_, .width = DmaWidth::kHalfWord, .circular = true, .priority = 3},
                      spi_.DR) &&
      transmit_.set_up({.channel = dma_channel_,
                        .direction = DmaDirection::kToPeripheral,
                        .width = DmaWidth::kHalfWord,
                        .priority = 2},
                       spi_.DR);
  if (!stopped) return false;
  // A word left over from before would put everything out of step: take it, and an overrun with it.
  for (std::uint32_t tries = 0; tries < 2 && (spi_.SR & (kReceived | kOverrun)) != 0; ++tries) {
    [[maybe_unused]] const std::uint32_t word = spi_.DR;
  }
  first_half_next_ = true;
  landing_.command = kCommand;
  receive_.start(landing_.words.data(), kLandingWords);
  spi_.CR2 = kReceiveDma | kTransmitDma;
  spi_.CR1 = kMaster | kSelectHigh | kSoftwareSelect | kSixteenBits | divider_ << 3 | kEnable;
  return true;
}

BusFault ConverterBus::check(std::uint32_t readouts) {
  if ((spi_.SR & kOverrun) != 0 || (receive_.flags() & DmaStream::kTransferError) != 0 ||
      (transmit_.flags() & DmaStream::kTransferError) != 0) {
    return BusFault::kOverrun;
  }
  if (transmit_.left() != 0 || (spi_.SR & kBusy) != 0) return BusFault::kUnfinished;
  const auto landed = static_cast<std::uint32_t>(readouts * kWordsPerReadout % kLandingWords);
  const std::uint32_t left = receive_.left();
  if (left % kLandingWords != (kLandingWords - landed) % kLandingWords) return BusFault::kOutOfStep;
  if (readouts == 0 || landed % kHalf != 0) return BusFault::kNone;
  // The stream says by itself which half it has just filled.
  const std::uint32_t expected = first_half_next_ ? DmaStream::kHalfDone : DmaStream::kDone;
  const std::uint32_t filled = receive_.flags() & (DmaStream::kHalfDone | DmaStream::kDone);
  receive_.clear(filled);
  first_half_next_ = !first_half_next_;
  return filled == expected ? BusFault::kNone : BusFault::kOutOfStep;
}

void ConverterBus::read_out() {
  transmit_.start(landing_.command.data(), kWordsPerReadout);
}

bool ConverterBus::unpack(std::size_t index, std::size_t first_channel, wire::ScanCodes& codes) const {
  constexpr std::uint16_t kOffsetBinary = 0x8000;
  const std::uint16_t* word = &landing_.words[index * wire::kScansPerBlock * kWordsPerReadout];
  std::uint32_t wrong = 0;
  for (auto& scan : codes) {
    std::int16_t* code = &scan[first_channel];
    // Two channels lie in three words: code | tail, code | code, tail.
    for (std::size_t channel = 0; channel < kChannelsPerConverter; channel += 2, word += 3, code += 2) {
      wrong |= static_cast<std::uint32_t>(word[1] >> 8 ^ tail_of(channel));
      wrong |= static_cast<std::uint32_t>((word[2] & 0xFF) ^ tail_of(channel + 1));
      code[0] = static_cast<std::int16_t>(word[0] ^ kOffsetBinary);
      code[1] = static_cast<std::int16_t>((word[1] << 8 | word[2] >> 8) ^ kOffsetBinary);
    }
  }
  return wrong == 0;
}

}  // namespace firmware::chip
