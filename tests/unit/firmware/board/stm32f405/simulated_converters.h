// SPDX-License-Identifier: Apache-2.0
// Three converters as their buses see them: a readout started by the transmit stream lands in the landing area, with
// the stream's counts and flags, one fault at a time as asked for.
#pragma once

#include <array>
#include <functional>
#include <memory>

#include "firmware/board/stm32f405/scan_reader.h"
#include "tests/unit/firmware/board/stm32f405/simulated_dma.h"

namespace firmware::chip::testing {

enum class Trouble : std::uint8_t {
  kNone,
  kUnfinished,    // the transmit stream still has words to send when the next readout is due
  kLostWord,      // a word never arrived
  kSpiOverrun,    // the SPI lost a word
  kDmaError,      // the receive stream's bus error
  kSlippedBit,    // everything one bit late
  kOtherChannel,  // channels in another order
  kWrongHalf,     // the stream says the other half is full
};

/// Code of a converter's channel at a scan.
using CodeOf = std::function<std::int16_t(std::uint64_t scan, std::size_t channel)>;

class SimulatedConverter {
 public:
  SimulatedConverter(std::size_t number, const std::uint64_t& scan, CodeOf code_of);

  ConverterBus& bus() { return bus_; }

  Trouble trouble = Trouble::kNone;  // of the next readout; then none, unless it lasts
  bool lasts = false;
  bool stuck = false;  // its receive stream does not stop

 private:
  static constexpr std::uint32_t kReceive = 0;
  static constexpr std::uint32_t kTransmit = 3;

  void read_out();
  std::array<std::uint16_t, kWordsPerReadout> answer(Trouble now) const;
  void land(std::uint16_t word, Trouble now);

  std::size_t number_;
  const std::uint64_t& scan_;
  CodeOf code_of_;
  SimulatedDma dma_;
  Spi spi_;
  Landing landing_{};
  DmaStream receive_{dma_.registers, kReceive};
  DmaStream transmit_{dma_.registers, kTransmit};
  ConverterBus bus_{spi_, 2, receive_, transmit_, 3, landing_};
};

/// Reader, clock and converters; a test lets scans go by.
class ScanBench {
 public:
  explicit ScanBench(CodeOf code_of);

  /// So many scans, each with its readout interrupt.
  void scans(std::uint64_t count);
  /// A scan whose interrupt is held off.
  void miss_interrupts(std::uint64_t count) { pass(count); }

  SimulatedConverter& converter(std::size_t number) { return *converters_[number]; }
  ScanReader& reader() { return *reader_; }
  std::uint64_t scan() const { return scan_; }

 private:
  void pass(std::uint64_t count);

  std::uint64_t scan_ = 0;
  Timer clock_registers_;
  Timer counter_registers_;
  SampleClock clock_{clock_registers_, counter_registers_};
  std::array<std::unique_ptr<SimulatedConverter>, kConverters> converters_;
  ScanBlock block_{};
  std::unique_ptr<ScanReader> reader_;
};

}  // namespace firmware::chip::testing
