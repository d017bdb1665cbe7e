// SPDX-License-Identifier: Apache-2.0
#include "host/detect/tally.h"

#include <bit>
#include <utility>

namespace host::detect {
namespace {

/// Whether `code` lies farther out on its side than the worst so far.
bool deeper(const std::optional<Worst>& worst, double code, int side) {
  if (!worst) return true;
  return side == 0 ? code < worst->code : code > worst->code;
}

}  // namespace

Tally::Tally(const model::Jig& jig, BeyondStep beyond_step)
    : beyond_step_(std::move(beyond_step)), scan_period_s_(1 / jig.scan_rate_hz()) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE) continue;
    ChannelTally tally;
    tally.channel = channel.index;
    tally.rail = channel.rail;
    tally.current = channel.current;
    channels_.push_back(tally);
  }
  for (std::size_t rail = 1; rail < judge::kRailCount; ++rail) {
    std::vector<std::size_t> places;
    std::vector<std::size_t> indices;
    for (std::size_t place = 0; place < channels_.size(); ++place) {
      if (channels_[place].rail != static_cast<steadyrail::proto::Rail>(rail)) continue;
      places.push_back(place);
      indices.push_back(channels_[place].channel);
    }
    if (places.empty()) continue;
    rails_.push_back({static_cast<steadyrail::proto::Rail>(rail), std::move(places),
                      SettledPools(jig.scan_rate_hz(), std::move(indices))});
  }
}

void Tally::add(const Block& block, const SettledFinder& finder) {
  scans_seen_ += std::uint64_t{block.scans} * block.count;
  scans_on_ += std::uint64_t{block.scans} * static_cast<unsigned>(std::popcount(block.on));
  take_fresh();
  for (std::size_t place = 0; place < channels_.size(); ++place) extremes(block, place);
  for (RailPools& rail : rails_) means(block, finder, rail);
}

void Tally::take_fresh() {
  // A step near the end of a block is told before the next block comes, not before its own.
  for (const Candidate& candidate : candidates_) {
    ChannelTally& tally = channels_[candidate.place];
    const Worst& extreme = candidate.worst;
    const bool beyond = beyond_step_(tally.rail, extreme.at, extreme.at + extreme.scans);
    auto& worst = (beyond ? tally.stepped : tally.dynamic)[candidate.side];
    if (!deeper(worst, extreme.code, candidate.side)) continue;
    worst = extreme;
    fresh_ = true;
  }
  candidates_.clear();
}

void Tally::extremes(const Block& block, std::size_t place) {
  ChannelTally& tally = channels_[place];
  const auto& columns = block.windows->channels[tally.channel];
  const std::uint32_t due = block.due(tally.rail);
  if (due == block.all()) {
    tally.scans_on += std::uint64_t{block.scans} * block.count;
    tally.sum_on += static_cast<double>(block.sum_8[tally.channel]) / 8 * block.scans;
    if (tally.current) tally.load_on += static_cast<double>(block.sum_8[*tally.current]) / 8 * block.scans;
  }
  for (int side = 0; side < 2; ++side) {
    const auto& extremes = side == 0 ? columns.min : columns.max;
    if (!deeper(tally.dynamic[side], side == 0 ? block.low[tally.channel] : block.high[tally.channel], side)) continue;
    for (std::uint32_t i = 0; i < block.count; ++i) {
      if ((due >> i & 1U) == 0) continue;
      const judge::Load within = block.rating[tally.rail][i];
      const bool judged = within != judge::Load::kOutside && within != judge::Load::kDoubtful;
      auto& worst = judged                             ? tally.dynamic[side]
                    : within == judge::Load::kDoubtful ? tally.doubtful[side]
                                                       : tally.outside[side];
      if (!deeper(worst, extremes[i], side)) continue;
      Worst extreme{.code = static_cast<double>(extremes[i]),
                    .at = block.start_of(i),
                    .within = within,
                    .scans = block.scans,
                    .shape = {},
                    .fresh = true};
      extreme.begins_due = i > 0 ? (due >> (i - 1) & 1U) == 0 : !tally.due_before;
      extreme.ends_due = i + 1 < block.count && (due >> (i + 1) & 1U) == 0;
      if (judged) {
        candidates_.push_back({place, side, extreme});
        continue;
      }
      worst = extreme;
      fresh_ = true;
    }
  }
  tally.due_before = (due >> (block.count - 1) & 1U) != 0;
}

template <typename Visit>
void Tally::visit_extremes(const Visit& visit) {
  for (ChannelTally& tally : channels_) {
    for (auto* worsts : {&tally.dynamic, &tally.doubtful}) {
      for (auto& worst : *worsts) {
        if (!worst) continue;
        visit(*worst,
              Place{tally.channel, worst->at, worst->at + worst->scans, static_cast<std::int32_t>(worst->code)});
      }
    }
  }
}

void Tally::shape(const History& history, const std::deque<Capture>& captures,
                  std::span<const judge::UnderRead> chains) {
  if (!fresh_) return;
  fresh_ = false;
  visit_extremes([&](Worst& worst, const Place& place) {
    if (!worst.fresh) return;
    const std::size_t reach = chains[place.channel].reach_scans();
    // How the rail came up or went down beside the window is none of its own slopes.
    worst.shape.span = span_round(history, place, worst.begins_due ? 0 : reach, worst.ends_due ? 0 : reach);
    worst.fresh = place.to + reach > history.end();
    fresh_ = fresh_ || worst.fresh;
    for (const Capture& capture : captures) {
      if (const auto steepest = steepest_near(capture, place, reach)) worst.shape.steepest = steepest;
    }
  });
}

void Tally::shape(const Capture& capture, std::span<const judge::UnderRead> chains) {
  visit_extremes([&](Worst& worst, const Place& place) {
    const auto steepest = steepest_near(capture, place, chains[place.channel].reach_scans());
    if (steepest) worst.shape.steepest = steepest;
  });
}

void Tally::means(const Block& block, const SettledFinder& finder, RailPools& rail) {
  const std::uint32_t mask = block.settled[rail.rail] & block.due(rail.rail);
  if (mask == 0) return;
  const auto& rating = block.rating[rail.rail];
  const SettledFinder::Loads loads = finder.loads(rail.rail, block);
  const auto level = [&](std::uint32_t window) { return SettledPools::level(loads[window]); };
  for (std::uint32_t i = 0; i < block.count; ++i) {
    // A load that stands still for long has outlasted every excursion allowance: in doubt it is left out too.
    const judge::Load within = rating[i];
    if ((mask >> i & 1U) == 0 || within == judge::Load::kOutside || within == judge::Load::kDoubtful) continue;
    const std::size_t here = level(i);
    std::uint32_t end = i + 1;
    while (end < block.count && (mask >> end & 1U) != 0 && rating[end] == within && level(end) == here) ++end;
    for (std::uint32_t next = i; next < end;) {
      if (const auto* means = rail.pools.add(here, within, block, next, end))
        note(*means, block.start_of(next - 1), rail);
    }
    i = end - 1;
  }
}

void Tally::note(const SettledPools::Means& means, std::uint64_t at, const RailPools& rail) {
  for (std::size_t k = 0; k < rail.places.size(); ++k) {
    ChannelTally& tally = channels_[rail.places[k]];
    const Worst mean{.code = means.codes[k], .at = at, .within = means.within, .shape = {}};
    tally.settled_s += rail.pools.scans_of_mean() * scan_period_s_;
    auto& [low, high] = tally.settled;
    if (!low || mean.code < low->code) low = mean;
    if (!high || mean.code > high->code) high = mean;
  }
}

}  // namespace host::detect
