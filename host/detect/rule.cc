// SPDX-License-Identifier: Apache-2.0
#include "host/detect/rule.h"

#include <algorithm>
#include <cmath>

#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

// Codes have 16 bits; one step beyond either end is "never" or "always", further ones mean the same.
constexpr double kCodeMost = 40000;

std::int64_t microvolts(const model::JigChannel& channel, std::int32_t code) {
  return std::llround(channel.value(code) * 1e6);
}

std::int32_t near(const model::JigChannel& channel, model::Microvolts limit) {
  return static_cast<std::int32_t>(std::clamp(std::floor(channel.code(limit.volts())), -kCodeMost, kCodeMost));
}

}  // namespace

std::int32_t least_code_at(const model::JigChannel& channel, model::Microvolts limit) {
  // The division may land one code off at a knife edge: the comparison in whole microvolts decides.
  std::int32_t code = near(channel, limit) - 1;
  while (code < kCodeMost && microvolts(channel, code) < limit.value) ++code;
  return code;
}

std::int32_t greatest_code_at(const model::JigChannel& channel, model::Microvolts limit) {
  std::int32_t code = near(channel, limit) + 1;
  while (code > -kCodeMost && microvolts(channel, code) > limit.value) --code;
  return code;
}

ExcursionRule rule_in_codes(const model::JigChannel& channel, judge::Side side, model::Microvolts limit) {
  const double nominal = std::abs(model::rail_nominal_v(channel.rail));
  const double hysteresis = std::max(kHysteresisShare * nominal, kHysteresisSigmas * channel.noise_rms);
  const double outward =
      judge::expanded_uncertainty(channel, limit.volts(), 1).expanded + kKeepSigmas * channel.noise_rms;
  const auto shifted = [&](double volts) { return model::to_microvolts(limit.volts() + volts); };
  ExcursionRule rule;
  rule.side = side;
  rule.merge_scans = kMergeScans;
  rule.least_scans = kLeastScans;
  if (side == judge::Side::kLow) {
    rule.limit = least_code_at(channel, limit);
    rule.release = least_code_at(channel, shifted(hysteresis));
    rule.keep = greatest_code_at(channel, shifted(-outward));
  } else {
    rule.limit = greatest_code_at(channel, limit);
    rule.release = greatest_code_at(channel, shifted(-hysteresis));
    rule.keep = least_code_at(channel, shifted(outward));
  }
  return rule;
}

}  // namespace host::detect
