// SPDX-License-Identifier: Apache-2.0
// Inside of Session: what a session under way holds. Three files fill it: set-up, closed forms, scan by scan.
#pragma once

#include <array>
#include <cstdint>
#include <limits>
#include <optional>
#include <utility>
#include <vector>

#include "tests/trial/capture.h"
#include "tests/trial/columns.h"
#include "tests/trial/session.h"

namespace trial {

inline constexpr Scan kWindow = static_cast<Scan>(Responses::kWindow);
inline constexpr Scan kBlock = kWindow * static_cast<Scan>(wire::kWindowsPerBlock);

class Session::Body {
 public:
  Body(const SessionPlan& plan, const host::model::Jig& jig, const steadyrail::proto::Configure& configure,
       const steadyrail::proto::Arm& arm);
  void feed(host::decode::Sink& sink);
  const Truth& truth() const { return truth_; }

 private:
  Surroundings surroundings(Scan scan) const;
  void window(Scan from);
  void changed(Scan at, Source source, double amps);
  void plan_contact(Scan until);
  bool mains_troubled(Scan scan) const { return dip_ && scan >= dip_->begin && scan < dip_->end; }
  void plan_mains(Scan from);
  bool must_simulate(Scan from) const;
  void begin_detail(Scan from);
  void detail_window(Scan from);
  void mains_edges(Scan scan);
  void crossings(Scan scan, const Reading& before, const Reading& after);
  void edge(steadyrail::proto::Line line, bool high, Scan scan, std::uint32_t offset_256, std::uint32_t pulse_ns = 0);
  void frozen_window(Scan from);
  void watch_loads(const Wave::Window& window);
  void fill(Scan first, host::decode::Sink& sink);
  void walk_limits(Scan first);
  void note_truth();

  const SessionPlan plan_;
  const host::model::Jig& jig_;
  const steadyrail::proto::Arm arm_;
  host::simulate::Random random_;
  double mains_turns_;
  Chain chain_;
  Detail detail_;
  Responses responses_;
  Noise noise_;
  Wave wave_;
  ChipSteps steps_;
  ChipLimits limits_;
  Capturer capturer_;
  LoadTrack track_;
  Columns columns_;
  Columns::Windows windows_;
  std::vector<std::pair<std::size_t, std::size_t>> current_of_;  // source, current channel
  bool detailed_ = false;                                        // this stretch is simulated scan by scan
  Scan calm_since_ = 0;
  std::array<host::simulate::TapAmps, 3> wanted_{};
  bool frozen_ = false;
  Scan still_since_ = 0;
  Reading last_{};
  struct Dip {
    Scan begin = 0, end = 0;
    double level = 0;
  };
  std::optional<Dip> dip_;
  Scan next_dip_ = std::numeric_limits<Scan>::max();
  bool ac_present_ = true;
  double departure_ = 0;
  Scan quiet_ = 0;
  bool chatter_armed_ = true;
  Scan contact_next_ = std::numeric_limits<Scan>::max();
  Scan below_ = 0;  // scans in a row below what the loads stand
  bool below_told_ = false;
  Scan on_since_ = 0;
  bool on_ = true;
  Events events_;
  std::array<double, wire::kWindowsPerBlock> most_a_{};  // of +12 V, by window
  std::array<bool, wire::kWindowsPerBlock> fully_on_{};
  Truth truth_;
};

}  // namespace trial
