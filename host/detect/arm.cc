// SPDX-License-Identifier: Apache-2.0
#include "host/detect/arm.h"

#include <algorithm>
#include <array>

#include "host/detect/rule.h"
#include "host/judge/limit.h"

namespace host::detect {
namespace {

using steadyrail::proto::Arm;
using steadyrail::proto::ArmedLimit;

constexpr int kArmedMost = 48;  // Arm.limits and Arm.thresholds in proto/link.options
constexpr std::int32_t kCodeLeast = -32768;
constexpr std::int32_t kCodeMost = 32767;

const model::JigChannel* logic(const model::Jig& jig, std::string_view name) {
  const model::JigChannel* channel = jig.find(name);
  const bool is = channel != nullptr && channel->kind == steadyrail::proto::CHANNEL_KIND_LOGIC;
  return is ? channel : nullptr;
}

std::int32_t in_codes(std::int32_t code) {
  return std::clamp(code, kCodeLeast, kCodeMost);
}

void add_limit(Arm& arm, const model::JigChannel& channel, judge::Side side, model::Microvolts limit) {
  if (arm.limits_size() >= kArmedMost) return;
  const ExcursionRule rule = rule_in_codes(channel, side, limit);
  ArmedLimit* armed = arm.add_limits();
  armed->set_channel(static_cast<std::uint32_t>(channel.index));
  armed->set_side(side == judge::Side::kLow ? steadyrail::proto::SIDE_LOW : steadyrail::proto::SIDE_HIGH);
  armed->set_code(in_codes(rule.limit));
  armed->set_release_code(in_codes(rule.release));
  armed->set_keep_code(in_codes(*rule.keep));
  armed->set_merge_scans(rule.merge_scans);
  armed->set_least_scans(rule.least_scans);
}

void add_threshold(Arm& arm, const model::JigChannel& channel, model::Microvolts level) {
  if (arm.thresholds_size() >= kArmedMost) return;
  auto* threshold = arm.add_thresholds();
  threshold->set_channel(static_cast<std::uint32_t>(channel.index));
  threshold->set_code(in_codes(least_code_at(channel, level)));
}

}  // namespace

const model::JigChannel* pwr_ok_channel(const model::Jig& jig) {
  return logic(jig, "pwr-ok");
}
const model::JigChannel* ps_on_channel(const model::Jig& jig) {
  return logic(jig, "ps-on");
}

Arm arm_limits(const model::Jig& jig, const steadyrail::proto::LimitSet* limits) {
  Arm arm;
  arm.set_set(kArmedSet);
  if (const auto* channel = pwr_ok_channel(jig)) {
    add_threshold(arm, *channel, kPwrOkLow);
    add_threshold(arm, *channel, kPwrOkHigh);
  }
  if (const auto* channel = ps_on_channel(jig)) {
    add_threshold(arm, *channel, kPsOnLow);
    add_threshold(arm, *channel, kPsOnHigh);
  }
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE) continue;
    const double nominal = model::rail_nominal_v(channel.rail);
    const auto limit = limits == nullptr ? std::nullopt : judge::limit_for(*limits, channel);
    add_threshold(arm, channel, model::to_microvolts(0.10 * nominal));
    // The limit nearer to zero: where a start-up ramp arrives, on -12 V too.
    if (limit) add_threshold(arm, channel, nominal < 0 ? limit->high : limit->low);
    add_threshold(arm, channel, model::to_microvolts(0.95 * nominal));
    if (!limit) continue;
    add_limit(arm, channel, judge::Side::kLow, limit->low);
    add_limit(arm, channel, judge::Side::kHigh, limit->high);
  }
  return arm;
}

}  // namespace host::detect
