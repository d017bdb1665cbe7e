// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/housekeeping.h"

#include <algorithm>
#include <array>

#include "firmware/core/health.h"

namespace firmware::chip {
namespace {

constexpr std::int32_t kCodes = 4095;
constexpr std::int32_t kReferenceMv = 3300;
constexpr std::int32_t kSupplyDivider = 2;  // 5 V through two equal resistors

// One entry every 5 K, in 1/16 code (at 120 degC a code is worth 0.6 K): 16 x 4,095 x r / (r + 1) with
// r = exp(3,950 K x (1/T - 1/298.15 K)). Straight lines between entries stay within 0.2 K; a test works both out again.
constexpr std::int32_t kFirstCelsius = -20;
constexpr std::int32_t kStepCelsius = 5;
constexpr std::array<std::int32_t, 29> kCodeBySteps{
    59842, 58066, 55919, 53393, 50500, 47282, 43806, 40161, 36446, 32760, 29195, 25824, 22701, 19856, 17302,
    15036, 13046, 11310, 9805,  8505,  7385,  6422,  5595,  4883,  4272,  3746,  3293,  2901,  2563};

// ADC_CR1, CR2
constexpr std::uint32_t kScanAll = 1U << 8;
constexpr std::uint32_t kOn = 1U << 0;
constexpr std::uint32_t kContinuous = 1U << 1;
constexpr std::uint32_t kDma = 1U << 8;
constexpr std::uint32_t kDmaForEver = 1U << 9;
constexpr std::uint32_t kStart = 1U << 30;
constexpr std::uint32_t kOverrun = 1U << 5;  // SR
constexpr std::uint32_t kLongestSampling = 7;
// Inputs in the order of HousekeepingCodes: PC0..PC5, PA1, the sensor.
constexpr std::array<std::uint32_t, kHousekeepingInputs> kInputs{10, 11, 12, 13, 14, 15, 1, 16};
// ADC_CCR: clock 84 MHz / 4, sensor on
constexpr std::uint32_t kCommon = 1U << 16 | 1U << 23;

}  // namespace

std::optional<std::int32_t> thermistor_mk(std::uint16_t code) {
  const std::int32_t wanted = 16 * code;
  if (wanted > kCodeBySteps.front() || wanted < kCodeBySteps.back()) return std::nullopt;
  // Codes fall as it gets warmer.
  const auto below = std::ranges::upper_bound(kCodeBySteps, wanted, std::ranges::greater{});
  if (below == kCodeBySteps.end())
    return 1000 * (kFirstCelsius + kStepCelsius * static_cast<std::int32_t>(kCodeBySteps.size() - 1));
  const auto k = static_cast<std::int32_t>(below - kCodeBySteps.begin()) - 1;
  const std::int32_t warm = *below;
  const std::int32_t cold = kCodeBySteps[static_cast<std::size_t>(k)];
  return 1000 * (kFirstCelsius + kStepCelsius * k) + 1000 * kStepCelsius * (cold - wanted) / (cold - warm);
}

bool Housekeeping::begin() {
  common_.CCR = kCommon;
  adc_.CR2 = 0;
  if (!stream_.set_up({.channel = 0, .width = DmaWidth::kHalfWord, .circular = true}, adc_.DR)) return false;
  stream_.start(codes_.data(), kHousekeepingInputs);
  adc_.SR = 0;
  adc_.CR1 = kScanAll;
  for (const std::uint32_t input : kInputs) {
    Reg& time = input >= 10 ? adc_.SMPR1 : adc_.SMPR2;
    set_bits(time, kLongestSampling << (3 * (input % 10)));
  }
  adc_.SQR1 = (kHousekeepingInputs - 1) << 20;
  for (std::size_t k = 0; k < kHousekeepingInputs; ++k) {
    Reg& order = k < 6 ? adc_.SQR3 : adc_.SQR2;
    set_bits(order, kInputs[k] << (5 * (k % 6)));
  }
  adc_.CR2 = kOn | kContinuous | kDma | kDmaForEver;
  set_bits(adc_.CR2, kStart);
  return true;
}

void Housekeeping::keep_going() {
  if ((adc_.SR & kOverrun) == 0 && stream_.running()) return;
  count_up(overruns_);
  begin();
}

std::optional<std::int32_t> Housekeeping::warmest_mk() const {
  std::optional<std::int32_t> warmest;
  for (std::size_t k = 0; k < kThermistors; ++k) {
    const auto here = connector_mk(k);
    if (here && (!warmest || *here > *warmest)) warmest = here;
  }
  return warmest;
}

std::uint32_t Housekeeping::supply_mv() const {
  return static_cast<std::uint32_t>(codes_[kThermistors] * kReferenceMv * kSupplyDivider / kCodes);
}

// 0.76 V at 25 degC and 2.5 mV a kelvin: typical values of the data sheet, from memory; good to some kelvin at best.
std::int32_t Housekeeping::chip_mk() const {
  const std::int32_t microvolts = codes_[kThermistors + 1] * kReferenceMv / kCodes * 1000;
  return 25'000 + (microvolts - 760'000) * 2 / 5;
}

}  // namespace firmware::chip
