// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/responses.h"

#include <algorithm>
#include <cmath>

namespace trial {
namespace {

constexpr Levels kBase = {5, 6, 0.5, 4, 4, 0.6};
constexpr Levels kStep = {10, 5, 2, 2, 2, 0.4};       // small enough to stay linear
constexpr Levels kUsualStep = {20, 9, 5, 3, 3, 1.5};  // of a session
constexpr Scan kLongest = 960;                        // 30 ms: a shared transformer settles slowly
constexpr double kSettledCodes = 1;                   // after a usual step
constexpr double kFeltCodes = 0.4;                    // a third of the noise of one sample
constexpr std::size_t kEdgeScans = 3;                 // of a load step

Surroundings at(const Levels& levels) {
  Surroundings here;
  here.amps = amps_of(levels, false);
  return here;
}

}  // namespace

Responses::Responses(Detail& detail) {
  detail.settle(at(kBase));
  const Reading base = detail.reading();
  std::array<std::vector<Reading>, kSources> runs;
  for (std::size_t s = 0; s < kSources; ++s) {
    Levels stepped = kBase;
    stepped[s] += kStep[s];
    detail.settle(at(stepped));
    const Reading rest = detail.reading();
    for (std::size_t c = 0; c < kSeen; ++c) {
      per_amp_[c][s] = (static_cast<double>(rest[c]) - static_cast<double>(base[c])) / kStep[s];
    }
    detail.settle(at(kBase));
    runs[s].push_back(base);
    for (Scan n = 1; n <= kLongest; ++n) {
      Levels now = kBase;
      now[s] += kStep[s] * std::min(1.0, static_cast<double>(n) / kEdgeScans);
      detail.run(at(now));
      runs[s].push_back(detail.reading());
      const Reading& here = runs[s].back();
      double worst = 0;
      for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
        const double left = (static_cast<double>(here[c]) - static_cast<double>(rest[c])) * kUsualStep[s] / kStep[s];
        worst = std::max(worst, std::abs(left));
      }
      if (worst > kSettledCodes) reach_ = std::max(reach_, n + 1);
    }
  }
  reach_ = (std::min(reach_, kLongest) + 31) / 32 * 32;
  for (std::size_t c = 0; c < kSeen; ++c) {
    at_zero_[c] = static_cast<double>(base[c]);
    for (std::size_t s = 0; s < kSources; ++s) {
      at_zero_[c] -= per_amp_[c][s] * kBase[s];
      auto& rise = rise_[c][s];
      rise.assign(kWindow, 0);
      double most = std::abs(per_amp_[c][s]);
      for (Scan n = 0; n < reach_; ++n) {
        const double one =
            (static_cast<double>(runs[s][static_cast<std::size_t>(n)][c]) - static_cast<double>(base[c])) / kStep[s];
        rise.push_back(static_cast<float>(one));
        most = std::max(most, std::abs(one));
      }
      rise.insert(rise.end(), 2 * kWindow, static_cast<float>(per_amp_[c][s]));
      for (std::size_t from = 0; from + kWindow <= rise.size(); ++from) {
        Over over{0, rise[from], rise[from]};
        for (std::size_t n = from; n < from + kWindow; ++n) {
          over.mean += rise[n] / kWindow;
          over.least = std::min(over.least, rise[n]);
          over.most = std::max(over.most, rise[n]);
        }
        over_[c][s].push_back(over);
      }
      const double least = c < wire::kChannelCount ? kFeltCodes : 0.01;
      if (most * kUsualStep[s] > least) felt_[s] |= 1U << c;
    }
  }
}

}  // namespace trial
