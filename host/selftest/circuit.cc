// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/circuit.h"

namespace host::selftest {

namespace proto = steadyrail::proto;

double gain_of(const proto::TestInput& input) {
  return input.has_gain() ? input.gain() : input.lower_ohm() / (input.upper_ohm() + input.lower_ohm());
}

double at_zero_of(const proto::TestInput& input) {
  if (input.has_at_zero_v()) return input.at_zero_v();
  return input.lower_end_v() * input.upper_ohm() / (input.upper_ohm() + input.lower_ohm());
}

double input_ohm(const proto::TestInput& input, double ground_ohm) {
  const double divider = input.upper_ohm() + input.lower_ohm() + (input.one_leg() ? 0 : ground_ohm);
  return input.bleed_ohm() > 0 ? 1 / (1 / divider + 1 / input.bleed_ohm()) : divider;
}

double tap_volts(const proto::TestInput& input, double level_v, double source_ohm, double ground_ohm) {
  const double ohm = input_ohm(input, ground_ohm);
  if (input.attenuation() > 0) {
    const double plug = input.attenuation_ohm() / input.attenuation();
    return level_v * plug / (plug + source_ohm) * input.attenuation() * ohm / (ohm + input.attenuation_ohm());
  }
  return level_v * ohm / (ohm + source_ohm);
}

double resting_volts(const proto::TestInput& input, std::optional<double> source_ohm) {
  double siemens = source_ohm && input.attenuation() == 0 ? 1 / *source_ohm : 0;
  if (input.bleed_ohm() > 0) siemens += 1 / input.bleed_ohm();
  if (input.attenuation() > 0) siemens += 1 / input.attenuation_ohm();
  return input.lower_end_v() / (1 + siemens * (input.upper_ohm() + input.lower_ohm()));
}

std::optional<Divider> divider_of(const TwoReadings& readings, double ground_ohm, double bleed_ohm) {
  if (!(readings.weak_v > 0) || !(readings.strong_v > readings.weak_v)) return std::nullopt;
  const double q = readings.strong_v / readings.weak_v;
  const double ohm = (readings.weak_ohm - q * readings.strong_ohm) / (q - 1);
  if (!(ohm > 0)) return std::nullopt;
  Divider out;
  out.gain = readings.strong_v * (ohm + readings.strong_ohm) / (readings.level_v * ohm);
  const double siemens = 1 / ohm - (bleed_ohm > 0 ? 1 / bleed_ohm : 0);
  if (!(siemens > 0)) return std::nullopt;
  out.input_ohm = 1 / siemens;
  const double divider = out.input_ohm - ground_ohm;
  out.lower_ohm = out.gain * divider;
  out.upper_ohm = divider - out.lower_ohm;
  return out;
}

}  // namespace host::selftest
