// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/load_state.h"

#include <algorithm>

namespace host::diagnose {
namespace {

constexpr double kWholeShare = 0.999;
// A load whose 10 % and 90 % points lie this near has one state only; common practice, no source.
constexpr double kOneStateShare = 0.2;

}  // namespace

LoadState::LoadState(const steadyrail::proto::Exposure& exposure)
    : exposure_(exposure),
      count_(static_cast<std::size_t>(std::min(exposure.load_w_size(), exposure.seen_share_size()))) {
  std::vector<float> loads;
  for (std::size_t i = 0; i < count_; ++i) {
    if (whole(i)) loads.push_back(exposure.load_w(static_cast<int>(i)));
  }
  if (loads.empty()) return;
  const auto at = [&loads](double share) {
    const auto nth = loads.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(loads.size() - 1));
    std::ranges::nth_element(loads, nth);
    return static_cast<double>(*nth);
  };
  const double low = at(0.1);
  const double high = at(0.9);
  if (high - low >= kOneStateShare * high) threshold_w_ = (low + high) / 2;
}

bool LoadState::whole(std::size_t column) const {
  return exposure_.seen_share(static_cast<int>(column)) >= kWholeShare;
}

std::optional<double> LoadState::mean_w(std::size_t from, std::size_t to) const {
  if (from >= to || to > count_) return std::nullopt;
  double sum = 0;
  for (std::size_t i = from; i < to; ++i) {
    if (!whole(i)) return std::nullopt;
    sum += exposure_.load_w(static_cast<int>(i));
  }
  return sum / static_cast<double>(to - from);
}

std::size_t LoadState::left_busy(std::size_t from, std::size_t end) const {
  std::size_t left = std::min(end, count_);
  while (left > from && !busy(exposure_.load_w(static_cast<int>(left - 1)))) --left;
  return left == from ? end : left;
}

}  // namespace host::diagnose
