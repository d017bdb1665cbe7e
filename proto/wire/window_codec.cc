// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/window_codec.h"

#include <algorithm>
#include <bit>

#include "proto/wire/variance_cell.h"

namespace wire {
namespace {

constexpr std::size_t kMaskBytes = 3;
constexpr std::size_t kMeanReferenceBytes = 3;
constexpr std::size_t kVarianceReferenceBytes = 2;

/// Counts bytes instead of writing them.
struct ByteCounter {
  std::size_t bytes = 2 * kMaskBytes;

  void column(std::uint32_t, std::size_t reference_bytes, std::span<const std::uint32_t> values) {
    bytes += 1 + reference_bytes + plan_column(values).bytes(values.size());
  }
};

struct ColumnSink {
  BodyWriter& writer;

  void column(std::uint32_t reference, std::size_t reference_bytes, std::span<const std::uint32_t> values) {
    const ColumnPlan plan = plan_column(values);
    writer.put_head(plan.width, plan.exceptions);
    writer.put_le(reference, reference_bytes);
    writer.put_values(values, plan);
  }
};

bool any_scan(std::span<const std::uint16_t> counts) {
  return std::ranges::any_of(counts, [](std::uint16_t count) { return count != 0; });
}

/// sum / scans in 1/8 code, halves rounded up. Scans are a power of two, 32 at least.
std::int32_t mean_8(std::int32_t sum, std::uint32_t scans) {
  const std::uint32_t per_eighth = scans / 8;
  return (sum + static_cast<std::int32_t>(per_eighth / 2)) >> std::countr_zero(per_eighth);
}

/// Hands the channel's columns over one by one, in the order of the body.
class ChannelColumns {
 public:
  ChannelColumns(const WindowBlock& block, std::size_t channel)
      : columns_(block.channels[channel]), scans_(block.scans_per_window), count_(block.window_count) {}

  template <typename Sink>
  void hand_over(Sink& sink, bool below, bool above) {
    means(sink);
    extremes(sink);
    variances(sink);
    if (below) counts(sink, columns_.below);
    if (above) counts(sink, columns_.above);
  }

 private:
  template <typename Sink>
  void means(Sink& sink) {
    for (std::size_t k = 0; k < count_; ++k) means_8_[k] = mean_8(columns_.sum[k], scans_);
    const std::int32_t least = *std::min_element(means_8_.begin(), means_8_.begin() + count_);
    for (std::size_t k = 0; k < count_; ++k) values_[k] = static_cast<std::uint32_t>(means_8_[k] - least);
    sink.column(static_cast<std::uint32_t>(least), kMeanReferenceBytes, values());
  }

  // A mean rounded up to a whole code has a maximum at or above it, so both distances from its floor are 0 or more.
  template <typename Sink>
  void extremes(Sink& sink) {
    for (std::size_t k = 0; k < count_; ++k) {
      values_[k] = static_cast<std::uint32_t>((means_8_[k] >> 3) - columns_.min[k]);
    }
    sink.column(0, 0, values());
    for (std::size_t k = 0; k < count_; ++k) {
      values_[k] = static_cast<std::uint32_t>(columns_.max[k] - (means_8_[k] >> 3));
    }
    sink.column(0, 0, values());
  }

  template <typename Sink>
  void variances(Sink& sink) {
    const int shift = 2 * std::countr_zero(scans_) - 6;  // m2 is scans^2 times the variance; cells count 1/64 code^2
    for (std::size_t k = 0; k < count_; ++k) {
      values_[k] = variance_cell(static_cast<std::uint64_t>(columns_.m2[k]) >> shift);
    }
    const std::uint32_t least = *std::min_element(values_.begin(), values_.begin() + count_);
    for (std::size_t k = 0; k < count_; ++k) values_[k] -= least;
    sink.column(least, kVarianceReferenceBytes, values());
  }

  template <typename Sink>
  void counts(Sink& sink, const std::array<std::uint16_t, kWindowsPerBlock>& scans_beyond) {
    std::copy_n(scans_beyond.begin(), count_, values_.begin());
    sink.column(0, 0, values());
  }

  std::span<const std::uint32_t> values() const { return {values_.data(), count_}; }

  const WindowColumns& columns_;
  std::uint32_t scans_;
  std::size_t count_;
  std::array<std::int32_t, kWindowsPerBlock> means_8_;
  ColumnValues values_;
};

}  // namespace

std::size_t window_body_bytes(const WindowBlock& block) {
  ByteCounter counter;
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    const WindowColumns& columns = block.channels[channel];
    ChannelColumns(block, channel)
        .hand_over(counter, any_scan({columns.below.data(), block.window_count}),
                   any_scan({columns.above.data(), block.window_count}));
  }
  return counter.bytes;
}

WindowEncoder::WindowEncoder(const WindowBlock& block, std::span<std::byte> out) : block_(block), writer_(out) {
  for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
    const WindowColumns& columns = block.channels[channel];
    if (any_scan({columns.below.data(), block.window_count})) mask_below_ |= 1U << channel;
    if (any_scan({columns.above.data(), block.window_count})) mask_above_ |= 1U << channel;
  }
  writer_.put_le(mask_below_, kMaskBytes);
  writer_.put_le(mask_above_, kMaskBytes);
}

bool WindowEncoder::step() {
  if (channel_ == kChannelCount || writer_.full()) return false;
  ColumnSink sink{writer_};
  ChannelColumns(block_, channel_)
      .hand_over(sink, (mask_below_ >> channel_ & 1) != 0, (mask_above_ >> channel_ & 1) != 0);
  ++channel_;
  return !writer_.full();
}

std::size_t encode_windows(const WindowBlock& block, std::span<std::byte> out) {
  WindowEncoder encoder(block, out);
  while (encoder.step()) {
  }
  return encoder.bytes();
}

}  // namespace wire
