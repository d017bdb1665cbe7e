// SPDX-License-Identifier: Apache-2.0
// Codes of every channel over the last fifth of a second, without noise: closed forms, and what was simulated scan by
// scan where they end.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include "tests/trial/responses.h"
#include "tests/trial/sources.h"

namespace trial {

class Wave {
 public:
  static constexpr Scan kKept = 8192;  // scans

  /// `adapter`: the channel of the mains; its amplitude in codes and its code at 0 V.
  struct Mains {
    std::size_t channel = 0;
    double peak_codes = 0;
    double zero_code = 0;
    double turns = 0;  // at scan 0
    double hz = 50;
  };
  struct Drift {
    Scan begin = 0, full = 0;
    std::array<double, kSeen> codes{};  // when it has arrived
  };
  /// An extra resistance in one plug that comes and goes.
  struct Contact {
    std::size_t channel = 0, current = 0;
    double codes_per_code = 0;  // of the voltage channel, by the current's above what it reads without current
    double volts_per_code = 0;
    double current_zero = 0;
  };

  Wave(const Responses& responses, const Levels& levels, const Mains& mains, const Drift& drift);
  void set_residue(const std::array<double, wire::kChannelCount>& codes_per_a) { residue_per_a_ = codes_per_a; }
  void set_contact(const Contact& contact) { contact_ = contact; }

  /// A source goes to `amps` after scan `at`; never earlier than the step before.
  void step(Scan at, Source source, double amps);
  /// The contact is bad in [from, to).
  void open_contact(Scan from, Scan to) { openings_.emplace_back(from, to); }
  bool contact_open(Scan from) const;
  /// What a scan reads, simulated; until then the window of it must not have been asked for.
  void simulated(Scan scan, const Reading& reading);
  /// Closed forms hold for nothing that lies before `scan`: what was simulated ended there.
  void forget(Scan now);

  /// Levels after every step up to `scan`.
  const Levels& levels() const { return levels_; }
  Levels levels_at(Scan scan) const;
  struct Step {
    Scan at;
    Source source;
    double delta;
    Levels before;
  };
  const std::vector<Step>& steps() const { return steps_; }

  /// What is the same for all channels in the window that begins at `from`.
  struct Window {
    Scan from = 0;
    bool simulated = false;
    std::uint32_t moved = 0;  // channels a step still moves
    std::size_t first = 0;    // of the steps that do
    std::size_t end = 0;
    Levels settled{};  // by the steps before them
  };
  Window window(Scan from) const;
  /// 32 scans of a channel.
  void samples(const Window& window, std::size_t channel, float* out) const;
  /// The same in closed form: mean and bounds of 32 scans, exact where one step at a time shapes the channel. Not for
  /// simulated windows.
  struct Bounds {
    double mean = 0, least = 0, most = 0;
    double doubt = 0;  // how far bounds may lie apart because shapes of several steps overlap
  };
  Bounds bounds(const Window& window, std::size_t channel) const;
  /// Whether the window's contact is bad at times: no closed form then.
  bool contact_moves(const Window& window, std::size_t channel) const {
    return contact_ && (channel == contact_->channel || channel == kLoadGraphics) && contact_open(window.from);
  }
  /// What a window adds to every scan of a channel: mains residue and drift.
  double addition(const Window& window, std::size_t channel) const;
  double mains_code(Scan scan) const;
  bool is_mains(std::size_t channel) const { return channel == mains_.channel; }
  /// Whether addition() is ever anything but 0 for the channel.
  bool adds(std::size_t channel) const { return residue_per_a_[channel] != 0 || drift_.codes[channel] != 0; }
  /// A channel that no step moves in this window, without the addition.
  double at_rest(const Window& window, std::size_t channel) const {
    return responses_.at_rest(channel, window.settled);
  }

 private:
  const Responses& responses_;
  Mains mains_;
  Drift drift_;
  std::optional<Contact> contact_;
  std::array<double, wire::kChannelCount> residue_per_a_{};
  std::array<float, 640> adapter_{};       // codes over a fiftieth of a second
  std::array<Bounds, 20> adapter_over_{};  // the same by window
  std::array<double, 10> residue_{};       // sine of twice the mains phase in the middle of windows
  Levels levels_;
  std::vector<Step> steps_;
  std::deque<std::pair<Scan, Scan>> openings_;
  std::vector<Reading> readings_;
  std::vector<Scan> simulated_;  // by window modulo: the window simulated there
};

}  // namespace trial
