// SPDX-License-Identifier: Apache-2.0
#include "host/calibrate/plan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <span>

namespace host::calibrate {
namespace {

namespace proto = steadyrail::proto;

// Shares of the nominal voltage: 1, 3, 5, 8, 11, 12, 13 V of +12 V; the verification's lie between them.
constexpr std::array kRailLevels = {1.0 / 12, 3.0 / 12, 5.0 / 12, 8.0 / 12, 11.0 / 12, 1.0, 13.0 / 12};
constexpr std::array kRailChecks = {4.0 / 12, 9.5 / 12, 11.9 / 12};
constexpr std::array kLogicLevels = {0.2, 0.8, 1.6, 2.4, 4.0, 5.0};  // V; round the thresholds of PWR_OK and PS_ON#
constexpr std::array kLogicChecks = {0.5, 2.0, 4.6};
constexpr std::array kOffsetLevels = {-0.3, -0.15, 0.0, 0.15, 0.3};  // V
constexpr std::array kOffsetChecks = {-0.2, 0.05, 0.25};
constexpr std::array kAdapterLevels = {-15.0, -8.0, 0.0, 8.0, 15.0};  // V, direct voltage
constexpr std::array kAdapterChecks = {-12.0, 3.0, 12.0};
constexpr std::array kAmpLevels = {5.0, 10.0, 20.0, 30.0, 40.0, 50.0};
constexpr std::array kAmpChecks = {7.0, 25.0, 45.0};
constexpr double kUsableShare = 0.9;  // of a current channel's range

std::span<const double> shares(proto::ChannelKind kind, Purpose purpose) {
  const bool first = purpose == Purpose::kCalibration;
  switch (kind) {
    case proto::CHANNEL_KIND_RAIL_VOLTAGE:
      return first ? std::span<const double>(kRailLevels) : kRailChecks;
    case proto::CHANNEL_KIND_LOGIC:
      return first ? std::span<const double>(kLogicLevels) : kLogicChecks;
    case proto::CHANNEL_KIND_GROUND_OFFSET:
      return first ? std::span<const double>(kOffsetLevels) : kOffsetChecks;
    case proto::CHANNEL_KIND_AC_PRESENT:
      return first ? std::span<const double>(kAdapterLevels) : kAdapterChecks;
    case proto::CHANNEL_KIND_CURRENT:
      return first ? std::span<const double>(kAmpLevels) : kAmpChecks;
    default:
      return {};
  }
}

void add_steps(std::vector<Step>& steps, const Step& like, std::span<const double> levels, const std::string& way) {
  for (const double level : levels) {
    steps.push_back(like);
    steps.back().direction = way;
    steps.back().target = level;
  }
}

void add_group(std::vector<Step>& steps, const model::JigChannel& channel, std::vector<std::string> names,
               Purpose purpose) {
  const bool current = channel.kind == proto::CHANNEL_KIND_CURRENT;
  std::vector<double> found = levels(channel, purpose);
  const Step like{.channels = std::move(names), .unit = current ? "A" : "V", .direction = {}, .target = 0};
  const std::array<double, 1> zero = {0};
  if (current && purpose == Purpose::kCalibration) add_steps(steps, like, zero, "zero-cold");
  add_steps(steps, like, found, "up");
  if (purpose == Purpose::kVerification) return;
  std::ranges::reverse(found);
  add_steps(steps, like, found, "down");
  if (current) add_steps(steps, like, zero, "zero-warm");
}

}  // namespace

bool comparable(const model::JigChannel& channel) {
  return !shares(channel.kind, Purpose::kCalibration).empty();
}

std::vector<double> levels(const model::JigChannel& channel, Purpose purpose) {
  const std::span<const double> list = shares(channel.kind, purpose);
  std::vector<double> out(list.begin(), list.end());
  if (channel.kind == proto::CHANNEL_KIND_RAIL_VOLTAGE) {
    for (double& level : out) level *= model::rail_nominal_v(channel.rail);
  }
  if (channel.kind == proto::CHANNEL_KIND_CURRENT) {
    constexpr double kCodeMost = 32767;
    const double most = kUsableShare * std::abs(channel.value(kCodeMost));
    const double scale = std::min(1.0, most / out.back());
    for (double& level : out) level *= scale;
  }
  return out;
}

std::vector<Step> plan(const model::Jig& jig, const std::vector<std::string>& names, bool together, Purpose purpose) {
  std::vector<Step> steps;
  std::vector<std::string> done;
  for (const std::string& name : names) {
    const model::JigChannel* channel = jig.find(name);
    if (channel == nullptr || !comparable(*channel) || std::ranges::find(done, name) != done.end()) continue;
    std::vector<std::string> group = {name};
    for (const std::string& other : names) {
      const model::JigChannel* with = jig.find(other);
      const bool joins = together && with != nullptr && other != name && channel->kind != proto::CHANNEL_KIND_CURRENT &&
                         with->kind == channel->kind && with->rail == channel->rail;
      if (joins) group.push_back(other);
    }
    done.insert(done.end(), group.begin(), group.end());
    add_group(steps, *channel, std::move(group), purpose);
  }
  return steps;
}

}  // namespace host::calibrate
