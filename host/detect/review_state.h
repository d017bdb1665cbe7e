// SPDX-License-Identifier: Apache-2.0
// Inside of Review: what one session's detectors share.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "host/detect/block_maker.h"
#include "host/detect/channel_check.h"
#include "host/detect/contact_watch.h"
#include "host/detect/excursion_desk.h"
#include "host/detect/exposure_track.h"
#include "host/detect/found.h"
#include "host/detect/history.h"
#include "host/detect/overview.h"
#include "host/detect/review.h"
#include "host/detect/ripple_bound.h"
#include "host/detect/sag_desk.h"
#include "host/detect/settled_levels.h"
#include "host/detect/step_desk.h"
#include "host/detect/tally.h"
#include "host/detect/timing.h"
#include "host/detect/waveforms.h"
#include "host/judge/specified_step.h"
#include "host/judge/under_read.h"

namespace host::detect {

/// Everything that needs a jig description; made when the header arrives.
struct Session {
  Session(model::Jig described, const ReviewOptions& options, const steadyrail::proto::RecordingHeader& header);
  // Detectors hold references into the session: it stays where it was made.
  Session(const Session&) = delete;
  Session& operator=(const Session&) = delete;

  const steadyrail::proto::LimitSet* limit_set() const { return limits ? &*limits : nullptr; }
  void windows(const decode::WindowBatch& batch);
  void count_clipped(const decode::WindowBatch& batch);
  void hole();
  void hello(const steadyrail::proto::Hello& hello);
  void restarted();
  /// For those who ask whether a bigger load step than the edition's is at work on a rail in some scan of a stretch.
  std::function<bool(steadyrail::proto::Rail, std::uint64_t, std::uint64_t)> beyond_step();
  void draw(const Found& found) { waveforms.draw(found, captures.kept()); }
  void finish();
  /// Scans seen of all scans between the first and the last.
  double share() const;

  model::Jig jig;
  std::optional<steadyrail::proto::LimitSet> limits;
  std::optional<steadyrail::proto::Unit> unit;
  steadyrail::proto::RecordingHeader made_with;
  std::vector<judge::UnderRead> chains;  // by channel index
  BlockMaker maker;
  ChannelCheck check;
  History history;
  OverviewBook overview;
  judge::SpecifiedSteps specified;
  Tally tally;
  ExposureTrack exposure;
  EventBook book;
  WaveformBook waveforms;
  ExcursionDesk excursions;
  StepDesk steps;
  SagDesk sags;
  SettledLevels levels;
  ContactWatch contacts;
  RippleWatch ripple;
  CaptureStore captures;
  TimingDesk timing;
  std::optional<std::uint64_t> first_scan;
  std::uint64_t end_scan = 0;
  std::uint64_t scans_clipped = 0;
  std::uint64_t batches_ignored = 0;
};

struct Review::State {
  ReviewOptions options;
  bool simulated = false;
  std::optional<Session> session;
  std::vector<std::string> remarks;
};

/// Fills events, their counts and decisions.
void write_events(const Session& session, steadyrail::proto::SessionResult& result);

}  // namespace host::detect
