// SPDX-License-Identifier: Apache-2.0
// What the jig's chip would tell besides windows: load steps with the settled means round them, excursions, crossings.
// The same rules and budgets as the firmware's, worked out from steps and windows instead of scans.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <span>
#include <vector>

#include "firmware/core/rate_limit.h"
#include "link.pb.h"
#include "proto/wire/window.h"
#include "tests/trial/sources.h"

namespace trial {

using Events = std::vector<steadyrail::proto::Event>;

/// Load steps by channel, grouped as the chip groups them.
class ChipSteps {
 public:
  /// 1/8 codes of all channels, mean over 32 scans from `from`.
  using Means = std::function<void(Scan from, std::array<std::int32_t, wire::kChannelCount>& code_8)>;

  ChipSteps(const steadyrail::proto::Configure& configure, Means means);

  /// A channel's level changes after scan `at`; never before the last one told.
  void step(Scan at, std::size_t channel, double delta_codes);
  /// Everything is known up to `now`: tells what is due.
  void tell(Scan now, Events& out);
  std::span<const Scan> told() const { return told_; }  // steps told by the last call

 private:
  struct Step {
    Scan at;  // as the chip stamps it
    std::size_t channel;
    double delta;
  };
  void take(const Step& step, Scan now, Events& out);
  void open_group(Scan at, Scan now, Events& out);
  void finish_group(Scan after, Scan now, Events& out);

  std::array<double, wire::kChannelCount> least_{};  // codes; 0: triggers nothing
  Means means_;
  std::deque<Step> waiting_;
  struct Group {
    std::uint32_t id = 0;
    Scan first = 0, last = 0, free_from = 0;
  } group_;
  std::uint32_t ids_ = 0;
  firmware::RateLimit step_limit_;
  firmware::RateLimit settled_limit_;
  std::vector<Scan> told_;
};

/// One armed limit over windows of 32 scans.
class ChipLimit {
 public:
  ChipLimit(const steadyrail::proto::ArmedLimit& armed, std::uint32_t set) : armed_(armed), set_(set) {}
  std::size_t channel() const { return armed_.channel(); }
  bool low() const { return armed_.side() == steadyrail::proto::SIDE_LOW; }
  /// Whether a window of these extremes must be walked scan by scan.
  bool wants(std::int16_t least, std::int16_t most) const;
  bool beyond(std::int16_t code) const { return low() ? code < armed_.code() : code > armed_.code(); }
  /// Scans of the window beyond the limit. Excursions that ended are added to `ended`.
  std::uint16_t walk(Scan from, std::span<const std::int16_t> codes, std::vector<steadyrail::proto::Excursion>& ended);
  bool idle() const { return state_ == State::kIdle; }

 private:
  enum class State : std::uint8_t { kIdle, kInside, kWaiting };
  void finish(std::vector<steadyrail::proto::Excursion>& ended);

  steadyrail::proto::ArmedLimit armed_;
  std::uint32_t set_;
  State state_ = State::kIdle;
  Scan start_ = 0, end_ = 0, extreme_at_ = 0;
  std::int32_t extreme_ = 0;
  std::uint64_t area_ = 0;
};

/// All armed limits, with the event budget: beyond it storms.
class ChipLimits {
 public:
  ChipLimits(const steadyrail::proto::Arm& arm, std::uint32_t events_per_s);
  std::vector<ChipLimit>& limits() { return limits_; }
  void tell(std::size_t limit, const steadyrail::proto::Excursion& excursion, Scan now, Events& out);
  void tell_storms(Scan now, Events& out);
  std::uint64_t told() const { return told_; }

 private:
  std::vector<ChipLimit> limits_;
  std::vector<steadyrail::proto::Storm> storms_;
  firmware::RateLimit budget_;
  Scan storms_told_ = 0;
  std::uint64_t told_ = 0;
};

}  // namespace trial
