// SPDX-License-Identifier: Apache-2.0
#include "host/detect/overview.h"

#include <algorithm>

#include "host/detect/block.h"

namespace host::detect {

void OverviewBook::add(const Block& block) {
  if (!begun_) {
    begun_ = true;
    first_scan_ = block.first;
    channels_.assign(wire::kChannelCount, std::vector<Column>(kColumnsMax));
  }
  // Scans before the first block would need columns that are not there; a sound decoder yields none.
  if (block.first < first_scan_) return;
  grow(block.end());
  const std::uint64_t column = (block.first - first_scan_) / column_scans_;
  const bool whole = (block.end() - 1 - first_scan_) / column_scans_ == column;
  for (std::size_t channel = 0; channel < wire::kChannelCount; ++channel) {
    if (whole) {
      add_part(channel, block.first, block.scans * block.count, block.low[channel], block.high[channel],
               block.sum_8[channel] * block.scans);
      continue;
    }
    const auto& columns = block.windows->channels[channel];
    for (std::uint32_t window = 0; window < block.count; ++window) {
      add_part(channel, block.start_of(window), block.scans, columns.min[window], columns.max[window],
               std::int64_t{columns.mean_8[window]} * block.scans);
    }
  }
}

void OverviewBook::add_part(std::size_t channel, std::uint64_t first, std::uint32_t scans, std::int16_t low,
                            std::int16_t high, std::int64_t sum_8) {
  // A window wider than a column, or across two, goes to the column of its first scan.
  Column& column = channels_[channel][(first - first_scan_) / column_scans_];
  column.low = std::min(column.low, low);
  column.high = std::max(column.high, high);
  column.sum_8 += sum_8;
  column.scans += scans;
}

void OverviewBook::grow(std::uint64_t to_scan) {
  while ((to_scan - 1 - first_scan_) / column_scans_ >= kColumnsMax) merge();
  columns_ = std::max<std::size_t>(columns_, (to_scan - 1 - first_scan_) / column_scans_ + 1);
}

void OverviewBook::merge() {
  for (auto& columns : channels_) {
    for (std::size_t i = 0; i < kColumnsMax / 2; ++i) {
      const Column& a = columns[2 * i];
      const Column& b = columns[2 * i + 1];
      columns[i] = {std::min(a.low, b.low), std::max(a.high, b.high), a.sum_8 + b.sum_8, a.scans + b.scans};
    }
    std::fill(columns.begin() + kColumnsMax / 2, columns.end(), Column{});
  }
  columns_ = (columns_ + 1) / 2;
  column_scans_ *= 2;
}

void OverviewBook::write(const model::Jig& jig, steadyrail::proto::Drawings& drawings) const {
  if (!begun_) return;
  for (const auto& channel : jig.channels()) {
    auto* overview = drawings.add_overviews();
    overview->set_channel(channel.name);
    overview->set_unit(channel.kind == steadyrail::proto::CHANNEL_KIND_CURRENT ? "A" : "V");
    overview->set_first_s(static_cast<double>(first_scan_) / jig.scan_rate_hz());
    overview->set_step_s(column_scans_ / jig.scan_rate_hz());
    for (std::size_t i = 0; i < columns_; ++i) {
      const Column& column = channels_[channel.index][i];
      const bool seen = column.scans > 0;
      const double mean = seen ? static_cast<double>(column.sum_8) / 8 / column.scans : 0;
      overview->add_seen(seen);
      overview->add_low(seen ? static_cast<float>(channel.value(column.low)) : 0);
      overview->add_mean(seen ? static_cast<float>(channel.value(mean)) : 0);
      overview->add_high(seen ? static_cast<float>(channel.value(column.high)) : 0);
    }
  }
}

}  // namespace host::detect
