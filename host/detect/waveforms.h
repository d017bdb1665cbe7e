// SPDX-License-Identifier: Apache-2.0
// Pictures of listed events: a few of the worst of each kind and channel, from a capture where one holds them.
#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <utility>
#include <vector>

#include "host/detect/capture_store.h"
#include "host/detect/found.h"
#include "host/detect/history.h"
#include "result.pb.h"

namespace host::detect {

class WaveformBook {
 public:
  static constexpr std::size_t kDrawnMost = 6;  // of each kind and channel

  WaveformBook(const model::Jig& jig, const History& history) : jig_(jig), history_(history) {}

  /// Draws a listed event if it is among the worst, from `captures` or else from the windows round it.
  void draw(const Found& found, const std::deque<Capture>& captures);
  /// A capture that came after its event: takes the place of a drawing from windows.
  void capture(const Capture& capture);
  /// Those whose event is still listed.
  void write(const EventBook& book, steadyrail::proto::Drawings& drawings) const;

 private:
  struct Drawn {
    std::uint32_t id = 0;
    std::size_t channel = 0;
    std::uint64_t start = 0;
    double severity = 0;
    steadyrail::proto::Waveform waveform;
  };
  bool from_capture(const Capture& capture, Drawn& drawn) const;
  void from_windows(const Found& found, Drawn& drawn) const;

  const model::Jig& jig_;
  const History& history_;
  std::map<std::pair<int, std::size_t>, std::vector<Drawn>> shelves_;
};

}  // namespace host::detect
