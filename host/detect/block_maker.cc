// SPDX-License-Identifier: Apache-2.0
#include "host/detect/block_maker.h"

#include <algorithm>
#include <type_traits>

#include "host/detect/arm.h"
#include "host/detect/rule.h"
#include "proto/wire/lesser.h"

namespace host::detect {

BlockMaker::BlockMaker(const model::Jig& jig, const steadyrail::proto::Unit* unit,
                       const steadyrail::proto::LimitSet* limits)
    : pwr_ok_(pwr_ok_channel(jig)),
      ps_on_(ps_on_channel(jig)),
      scan_period_s_(1 / jig.scan_rate_hz()),
      rating_(jig, unit, limits),
      settled_(jig),
      standby_(jig, limits) {
  for (const auto& channel : jig.channels()) {
    used_.push_back(&channel);
    if (channel.kind == steadyrail::proto::CHANNEL_KIND_CURRENT) currents_.push_back(&channel);
  }
  if (pwr_ok_ != nullptr) pwr_ok_code_ = least_code_at(*pwr_ok_, kPwrOkHigh);
  if (ps_on_ != nullptr) ps_on_code_ = greatest_code_at(*ps_on_, kPsOnHigh);
}

void BlockMaker::gap() {
  begun_ = false;
  rating_.gap();
  standby_.gap();
}

const Block& BlockMaker::make(const decode::WindowBatch& batch) {
  block_.windows = batch.windows;
  block_.follows = begun_ && batch.first_scan == next_;
  if (!block_.follows) {
    rating_.gap();
    standby_.gap();
  }
  block_.first = batch.first_scan;
  block_.scans = batch.scans_per_window;
  block_.count = batch.window_count;
  block_.armed_set = batch.armed_set;
  next_ = block_.end();
  begun_ = true;
  reduce(batch);
  find_on();
  block_.standby = block_.on | standby_.find(block_);
  rating_.judge(block_.loads, block_.count, block_.scans * scan_period_s_, block_.rating);
  block_.settled = settled_.find(block_);
  return block_;
}

namespace {

struct Reduced {
  std::int16_t low;
  std::int16_t high;
  std::int32_t sum_8;  // 19-bit means: 32 of them fit
};

/// With the count known when compiling, the three loops become vector instructions.
template <typename Count>
Reduced reduced(const wire::DecodedColumns& columns, Count count) {
  std::int16_t low = columns.min[0];
  std::int16_t high = columns.max[0];
  std::int32_t sum_8 = 0;
  for (std::uint32_t i = 0; i < count; ++i) low = wire::lesser(low, columns.min[i]);
  for (std::uint32_t i = 0; i < count; ++i) high = wire::greater(high, columns.max[i]);
  for (std::uint32_t i = 0; i < count; ++i) sum_8 += columns.mean_8[i];
  return {low, high, sum_8};
}

}  // namespace

void BlockMaker::reduce(const decode::WindowBatch& batch) {
  constexpr std::integral_constant<std::uint32_t, wire::kWindowsPerBlock> kFull;
  for (const model::JigChannel* channel : used_) {
    const auto& columns = batch.windows->channels[channel->index];
    const Reduced one = block_.count == kFull ? reduced(columns, kFull) : reduced(columns, block_.count);
    block_.low[channel->index] = one.low;
    block_.high[channel->index] = one.high;
    block_.sum_8[channel->index] = one.sum_8;
  }
  for (const model::JigChannel* channel : currents_) {
    const auto& columns = batch.windows->channels[channel->index];
    const auto per_code = static_cast<float>(channel->per_code);
    const auto at_code_0 = static_cast<float>(channel->at_code_0);
    auto& low = block_.loads.low[channel->index];
    auto& high = block_.loads.high[channel->index];
    // Windows that are not there too: the length is known then.
    for (std::size_t i = 0; i < wire::kWindowsPerBlock; ++i) low[i] = per_code * columns.min[i] + at_code_0;
    for (std::size_t i = 0; i < wire::kWindowsPerBlock; ++i) high[i] = per_code * columns.max[i] + at_code_0;
  }
}

void BlockMaker::find_on() {
  block_.on = block_.all();
  const bool pwr_ok_falls = pwr_ok_ != nullptr && block_.low[pwr_ok_->index] < pwr_ok_code_;
  const bool ps_on_rises = ps_on_ != nullptr && block_.high[ps_on_->index] > ps_on_code_;
  if (!pwr_ok_falls && !ps_on_rises) return;
  for (std::uint32_t window = 0; window < block_.count; ++window) {
    const bool off = (pwr_ok_falls && block_.windows->channels[pwr_ok_->index].min[window] < pwr_ok_code_) ||
                     (ps_on_rises && block_.windows->channels[ps_on_->index].max[window] > ps_on_code_);
    if (off) block_.on &= ~(1U << window);
  }
}

}  // namespace host::detect
