// SPDX-License-Identifier: Apache-2.0
// One pass over a session: every detector, every verdict. The same object serves live watching and review.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>

#include "host/decode/sink.h"
#include "host/detect/channel_check.h"
#include "limits.pb.h"
#include "result.pb.h"
#include "unit.pb.h"

namespace host::detect {

struct ReviewOptions {
  std::optional<steadyrail::proto::LimitSet> limits;  // none: events stay relative, verdicts are not tested
  std::string limits_sha256{};                        // of their text; compared with what the chip was armed with
  std::optional<steadyrail::proto::Unit> unit;        // over the one in the header
  std::uint32_t events_listed_max = 500;              // of each kind and channel; the rest is counted
};

/// Feed it as a Sink (header first), then take result(). Bounded memory whatever the length of the session.
class Review : public decode::Sink {
 public:
  explicit Review(ReviewOptions options);
  ~Review() override;

  void header(const steadyrail::proto::RecordingHeader& header) override;
  void hello(const steadyrail::proto::Hello& hello) override;
  void windows(const decode::WindowBatch& batch) override;
  void capture(const decode::CaptureBatch& batch) override;
  void event(const steadyrail::proto::Event& event) override;
  void status(const steadyrail::proto::Status& status) override;
  void gap(const decode::ScanGap& gap) override;
  void restarted(std::uint32_t boot) override;
  void note(const steadyrail::proto::HostNote& note) override;
  void finish() override;

  /// Verdicts, events, steps and the detectors' share of coverage (clipped scans). The caller adds the decoder's counts
  /// and the session's facts. Valid after finish(); during a watch a snapshot of what stands so far.
  /// `decoded`, where given, is what the decoder expected and saw: scans lost before the first and after the last
  /// window are known to it alone, and lower the coverage of the verdicts.
  steadyrail::proto::SessionResult result(const steadyrail::proto::Coverage* decoded = nullptr) const;
  steadyrail::proto::Drawings drawings() const;
  /// Excursions so far, listed or only counted. Cheap: the result is worked out anew each time it is asked for.
  std::uint64_t excursions() const;
  /// Channels found not to carry what the jig's description says, so far; grows only. Cheap.
  std::span<const ChannelFinding> channel_findings() const;
  /// Load and events over the whole session, for the chance of an event before a lock-up.
  steadyrail::proto::Exposure exposure() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace host::detect
