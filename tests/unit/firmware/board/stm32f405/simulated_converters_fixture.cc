// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/firmware/board/stm32f405/simulated_converters.h"

namespace firmware::chip::testing {
namespace {

constexpr std::uint32_t kEnable = 1;
constexpr std::uint32_t kSpiOverrun = 1U << 6;
constexpr std::uint32_t kRange = 5;

}  // namespace

SimulatedConverter::SimulatedConverter(std::size_t number, const std::uint64_t& scan, CodeOf code_of)
    : number_(number), scan_(scan), code_of_(std::move(code_of)) {
  dma_.registers.stream[kTransmit].CR.on_write = [this](std::uint32_t written) {
    if ((written & kEnable) != 0) read_out();
    return written & ~kEnable;
  };
  dma_.registers.stream[kReceive].CR.on_read = [this](std::uint32_t held) { return stuck ? held | kEnable : held; };
  // Reading the data register takes the word and, after the status, the overrun.
  spi_.DR.on_read = [this](std::uint32_t held) {
    spi_.SR.value &= ~kSpiOverrun;
    return held;
  };
}

// The converter's answer, most significant bit first, by its data format: code, 00, channel, range.
std::array<std::uint16_t, kWordsPerReadout> SimulatedConverter::answer(Trouble now) const {
  std::array<std::uint16_t, kWordsPerReadout> words{};
  std::size_t bit_at = now == Trouble::kSlippedBit ? 1 : 0;
  for (std::size_t k = 0; k < kChannelsPerConverter; ++k) {
    const std::size_t channel = now == Trouble::kOtherChannel ? (k + 1) % kChannelsPerConverter : k;
    const auto code = static_cast<std::uint16_t>(code_of_(scan_, number_ * kChannelsPerConverter + channel) + 0x8000);
    const std::uint32_t packet = std::uint32_t{code} << 8 | static_cast<std::uint32_t>(channel) << 3 | kRange;
    for (std::uint32_t bit = 0; bit < 24 && bit_at < 16 * kWordsPerReadout; ++bit, ++bit_at) {
      words[bit_at / 16] =
          static_cast<std::uint16_t>(words[bit_at / 16] | (packet >> (23 - bit) & 1) << (15 - bit_at % 16));
    }
  }
  return words;
}

void SimulatedConverter::read_out() {
  const Trouble now = trouble;
  if (!lasts) trouble = Trouble::kNone;
  const auto words = answer(now);
  const std::size_t arriving = now == Trouble::kLostWord ? words.size() - 1 : words.size();
  for (std::size_t k = 0; k < arriving; ++k) land(words[k], now);
  dma_.registers.stream[kTransmit].NDTR.value = now == Trouble::kUnfinished ? 3 : 0;
  if (now == Trouble::kSpiOverrun) spi_.SR.value |= kSpiOverrun;
  if (now == Trouble::kDmaError) dma_.raise(kReceive, DmaStream::kTransferError);
}

void SimulatedConverter::land(std::uint16_t word, Trouble now) {
  Reg& left = dma_.registers.stream[kReceive].NDTR;
  landing_.words[kLandingWords - left.value] = word;
  --left.value;
  const bool wrong = now == Trouble::kWrongHalf;
  if (left.value == kLandingWords / 2) dma_.raise(kReceive, wrong ? DmaStream::kDone : DmaStream::kHalfDone);
  if (left.value == 0) {
    dma_.raise(kReceive, wrong ? DmaStream::kHalfDone : DmaStream::kDone);
    left.value = kLandingWords;
  }
}

ScanBench::ScanBench(CodeOf code_of) {
  for (std::size_t k = 0; k < kConverters; ++k) {
    converters_[k] = std::make_unique<SimulatedConverter>(k, scan_, code_of);
  }
  reader_ = std::make_unique<ScanReader>(
      clock_, ScanReader::Buses{&converters_[0]->bus(), &converters_[1]->bus(), &converters_[2]->bus()}, block_);
}

void ScanBench::scans(std::uint64_t count) {
  for (; count != 0; --count) {
    reader_->on_readout();
    pass(1);
  }
}

void ScanBench::pass(std::uint64_t count) {
  scan_ += count;
  counter_registers_.CNT.value = static_cast<std::uint16_t>(scan_);
}

}  // namespace firmware::chip::testing
