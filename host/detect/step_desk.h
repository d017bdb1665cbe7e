// SPDX-License-Identifier: Apache-2.0
// Load steps and the droops they cause: the chip's steps and settled means, captures where there are any.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <span>
#include <vector>

#include "host/detect/beyond_steps.h"
#include "host/detect/capture_store.h"
#include "host/detect/droop.h"
#include "host/detect/found.h"
#include "host/detect/history.h"
#include "host/detect/load_step.h"
#include "host/detect/step_book.h"
#include "link.pb.h"

namespace host::detect {

class StepDesk {
 public:
  /// `chains` by channel index. `off`: whether a channel's limits did not hold somewhere in a stretch of scans.
  StepDesk(const model::Jig& jig, EventBook& book, const History& history, std::span<const judge::UnderRead> chains,
           const judge::SpecifiedSteps& specified, std::function<void(const Found&)> listed,
           std::function<bool(std::size_t, std::uint64_t, std::uint64_t)> off);

  void step(const steadyrail::proto::LoadStep& event);
  void settled(const steadyrail::proto::SettledMeans& event);
  void capture(const Capture& capture);
  void add(const Block& block);
  /// The jig restarted: step ids begin again.
  void restarted();
  void finish();
  const StepBook& steps() const { return steps_; }
  const BeyondSteps& beyond() const { return beyond_; }

 private:
  struct Step {
    std::uint32_t id;
    std::size_t current;
    std::uint64_t scan;
    double offset;
    double step_a;
    BeyondSteps::Judged judged;
  };
  struct Waiting {
    Step step;
    std::uint64_t after_scan;
    std::size_t channels = 0;  // told of
    std::array<std::int32_t, wire::kChannelCount> before_code_8{};
    std::array<std::int32_t, wire::kChannelCount> after_code_8{};
  };
  /// A droop that a capture told, so that windows need not tell it again.
  struct Captured {
    std::size_t voltage;
    std::uint64_t scan;
  };
  /// A step found in a capture, by place in it.
  struct Placed {
    std::size_t current;
    ScanStep step;
    std::uint64_t begins;  // last scan before the edge leaves 10 %
  };

  void resolve(const Waiting& waiting);
  void tell_slew(const Capture& capture, const Placed& placed);
  void measure(const Capture& capture, std::size_t voltage, const Placed& placed, std::uint64_t next);
  std::vector<Placed> steps_in(const Capture& capture, steadyrail::proto::Rail rail);
  /// Valid until the next call.
  std::span<const double> values(const model::JigChannel& channel, std::span<const std::int16_t> codes);
  void judge_step(Found& found, const Placed& placed) const;
  void list(Found found);
  steadyrail::proto::WithinStep with_slew(std::size_t current, steadyrail::proto::WithinStep size,
                                          const Found::Slew& slew) const;

  const model::Jig& jig_;
  EventBook& book_;
  const History& history_;
  std::span<const judge::UnderRead> chains_;
  const judge::SpecifiedSteps& specified_;
  std::function<void(const Found&)> listed_;
  std::function<bool(std::size_t, std::uint64_t, std::uint64_t)> off_;
  BeyondSteps beyond_;
  StepBook steps_;
  std::deque<Step> recent_;
  std::deque<Waiting> waiting_;
  std::deque<Captured> captured_;
  std::vector<double> values_;  // room, allocated once
};

}  // namespace host::detect
