// SPDX-License-Identifier: Apache-2.0
// The slow converter: thermistors at the high-current connectors, the jig's own supply, the chip's temperature. ADC1
// goes round its inputs by itself and DMA keeps the latest of each.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "firmware/board/stm32f405/dma_stream.h"

namespace firmware::chip {

inline constexpr std::size_t kThermistors = 6;
inline constexpr std::size_t kHousekeepingInputs = kThermistors + 2;

/// Thermistors first, then the supply's divider, then the chip's sensor. Not in core-coupled memory.
using HousekeepingCodes = std::array<std::uint16_t, kHousekeepingInputs>;

/// Millikelvin above 0 degC of a 10 kohm thermistor (beta 3,950 K, 25 degC) below 10 kohm of the converter's reference;
/// within 0.2 K from -20 to 120 degC. Nothing when it is open, shorted or beyond that.
std::optional<std::int32_t> thermistor_mk(std::uint16_t code);

class Housekeeping {
 public:
  Housekeeping(Adc& adc, AdcCommon& common, DmaStream& stream, HousekeepingCodes& codes)
      : adc_(adc), common_(common), stream_(stream), codes_(codes) {}

  bool begin();
  /// Starts anew what an overrun has stopped; call now and then.
  void keep_going();

  std::optional<std::int32_t> connector_mk(std::size_t thermistor) const { return thermistor_mk(codes_[thermistor]); }
  /// The warmest of those that can be read.
  std::optional<std::int32_t> warmest_mk() const;
  std::uint32_t supply_mv() const;
  std::int32_t chip_mk() const;
  std::uint32_t overruns() const { return overruns_; }

 private:
  Adc& adc_;
  AdcCommon& common_;
  DmaStream& stream_;
  HousekeepingCodes& codes_;
  std::uint32_t overruns_ = 0;
};

}  // namespace firmware::chip
