// SPDX-License-Identifier: Apache-2.0
// One 8-channel converter behind its isolator: an SPI whose receive DMA runs round a landing area for ever and whose
// transmit DMA is started once a scan. The converter (LTC2345-16 class) answers 24 bits a channel:
//
//   16 bits of code | 2 zeros | 3 bits of channel | 3 bits of range        eight times, channel 0 first
//
// The channel and range behind every code are the frame check: a bit lost or doubled on the way shows at once.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/board/stm32f405/dma_stream.h"
#include "proto/wire/scan_stream.h"

namespace firmware::chip {

inline constexpr std::size_t kChannelsPerConverter = 8;
inline constexpr std::size_t kConverters = wire::kChannelCount / kChannelsPerConverter;
inline constexpr std::size_t kWordsPerReadout = kChannelsPerConverter * 24 / 16;
inline constexpr std::size_t kLandingBlocks = 4;  // 4 ms: what the main loop may be late
inline constexpr std::size_t kLandingWords = kLandingBlocks * wire::kScansPerBlock * kWordsPerReadout;

/// What the DMA reads and writes. Not in core-coupled memory, which no DMA reaches.
struct Landing {
  std::array<std::uint16_t, kLandingWords> words;
  std::array<std::uint16_t, kWordsPerReadout> command;  // what the converter hears while it answers
};

enum class BusFault : std::uint8_t {
  kNone,
  kUnfinished,  // a readout was not over when the next one was due
  kOutOfStep,   // more or fewer words arrived than were read out, or in another half than they should be
  kOverrun,     // the SPI or its DMA lost words
};

class ConverterBus {
 public:
  /// `divider`: the SPI's BR field. All outlive the bus.
  ConverterBus(Spi& spi, std::uint32_t divider, DmaStream& receive, DmaStream& transmit, std::uint32_t dma_channel,
               Landing& landing);

  /// Stops what runs and begins at the start of the landing area. False when a stream does not stop.
  bool begin();

  /// Whether the `readouts` since begin() have all landed, in order.
  BusFault check(std::uint32_t readouts);

  /// Begins the next readout.
  void read_out();

  /// Codes of landing block `index` as the channels from `first_channel` on. False when the frame check fails anywhere.
  bool unpack(std::size_t index, std::size_t first_channel, wire::ScanCodes& codes) const;

 private:
  Spi& spi_;
  std::uint32_t divider_;
  DmaStream& receive_;
  DmaStream& transmit_;
  std::uint32_t dma_channel_;
  Landing& landing_;
  bool first_half_next_ = true;
};

}  // namespace firmware::chip
