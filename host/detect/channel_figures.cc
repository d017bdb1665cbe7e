// SPDX-License-Identifier: Apache-2.0
#include "host/detect/channel_figures.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "host/judge/uncertainty.h"

namespace host::detect {
namespace {

/// The outermost of what was seen inside the rating, in doubt of it and outside; side 0 low, 1 high. Codes rise or fall
/// with the voltage.
std::optional<double> extreme(const ChannelTally& tally, const model::JigChannel& channel, std::size_t side) {
  std::optional<double> out;
  for (const auto* worst : {&tally.dynamic[side], &tally.doubtful[side], &tally.outside[side]}) {
    if (!*worst) continue;
    const double value = channel.value((*worst)->code);
    out = !out ? value : side == 0 ? std::min(*out, value) : std::max(*out, value);
  }
  return out;
}

}  // namespace

void write_channel_figures(const model::Jig& jig, const Tally& tally, steadyrail::proto::SessionResult& result) {
  for (const ChannelTally& one : tally.channels()) {
    const model::JigChannel& channel = *jig.at(one.channel);
    steadyrail::proto::ChannelFigures& out = *result.add_channel_figures();
    out.set_channel(channel.name);
    out.set_rail(channel.rail_label);
    out.set_unit("V");
    out.set_on_s(static_cast<double>(one.scans_on) / jig.scan_rate_hz());
    if (const auto lowest = extreme(one, channel, 0)) out.set_lowest(*lowest);
    if (const auto highest = extreme(one, channel, 1)) out.set_highest(*highest);
    if (one.scans_on == 0) continue;
    const auto scans = static_cast<double>(one.scans_on);
    const double mean = channel.value(one.sum_on / scans);
    const double lowest = out.has_lowest() ? out.lowest() : mean;
    out.set_mean(mean);
    out.set_expanded_uncertainty(judge::expanded_uncertainty(channel, mean, scans).expanded);
    // A scale error acts on the difference alone: a tenth of a volt is more than a sound supply's means differ by, and
    // an extreme may differ by its own depth.
    constexpr double kMeansDiffer = 0.1;
    out.set_difference_u(judge::difference_uncertainty(channel, mean, kMeansDiffer, scans, scans).expanded);
    out.set_sample_difference_u(
        judge::difference_uncertainty(channel, lowest, std::max(kMeansDiffer, mean - lowest), 1, 1).expanded);
    if (channel.current) out.set_load_a(jig.at(*channel.current)->value(one.load_on / scans));
  }
}

}  // namespace host::detect
