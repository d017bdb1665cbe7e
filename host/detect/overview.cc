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
      channels_[channel][column].add(
          {block.low[channel], block.high[channel], block.sum_8[channel] * block.scans, block.scans * block.count});
      continue;
    }
    const auto& columns = block.windows->channels[channel];
    for (std::uint32_t window = 0; window < block.count; ++window) {
      // A window wider than a column, or across two, goes to the column of its first scan.
      channels_[channel][(block.start_of(window) - first_scan_) / column_scans_].add(
          {columns.min[window], columns.max[window], std::int64_t{columns.mean_8[window]} * block.scans, block.scans});
    }
  }
}

void OverviewBook::Column::add(const Column& part) {
  low = std::min(low, part.low);
  high = std::max(high, part.high);
  sum_8 += part.sum_8;
  scans += part.scans;
}

void OverviewBook::grow(std::uint64_t to_scan) {
  while ((to_scan - 1 - first_scan_) / column_scans_ >= kColumnsMax) merge();
  columns_ = std::max<std::size_t>(columns_, (to_scan - 1 - first_scan_) / column_scans_ + 1);
}

void OverviewBook::merge() {
  for (auto& columns : channels_) {
    for (std::size_t i = 0; i < kColumnsMax / 2; ++i) {
      Column pair = columns[2 * i];
      pair.add(columns[2 * i + 1]);
      columns[i] = pair;
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
