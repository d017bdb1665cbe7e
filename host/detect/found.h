// SPDX-License-Identifier: Apache-2.0
// What detectors hand over, and the bounded book that keeps the worst of it.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "host/detect/shape.h"
#include "host/judge/decision.h"
#include "result.pb.h"

namespace host::detect {

/// One event. Times in scans of the session; voltages in V (A for a load step).
struct Found {
  steadyrail::proto::EventKind kind = steadyrail::proto::EVENT_KIND_UNKNOWN;
  std::uint8_t channel = 0;
  judge::Side side = judge::Side::kLow;
  steadyrail::proto::FigureSource source = steadyrail::proto::FIGURE_SOURCE_UNKNOWN;
  steadyrail::proto::WithinRating within = steadyrail::proto::WITHIN_RATING_UNKNOWN;
  bool truncated = false;
  bool clipped = false;  // the extreme stands at the upper end of the converter's range
  bool judged = false;   // the decision rule applies to its extreme
  std::uint64_t start = 0;
  std::uint64_t end = 0;
  double start_s_offset = 0;  // scans to add to `start` where it is known more finely
  double start_u_scans = 0.5;
  double duration_scans = 0;
  double duration_u_scans = 0;
  double extreme = 0;
  double depth = 0;
  Place place{};  // of the extreme, where its shape can be looked at
  Shape shape{};
  std::optional<double> area_vs;  // beyond the limit; nothing: not known
  double beyond_scans = 0;        // scans known to lie beyond the limit; 0: not known
  double severity = 0;            // the book keeps the greatest
  std::optional<double> step_a, deviation, undershoot, settled_shift, minimum_s, recovery_s, retained;
  std::optional<double> resistance_step_ohm, resistance_step_u_ohm;
  std::optional<bool> explained;
  struct Slew {
    double a_per_s;
    bool at_least;
  };
  std::optional<Slew> slew;
  steadyrail::proto::WithinStep within_step = steadyrail::proto::WITHIN_STEP_UNKNOWN;
  std::optional<double> specified_step_a;
  std::uint32_t storm_excursions = 0;  // counted by the chip in this stretch; 0: a single event
  bool load_corrected = false;         // depth and retained are without the drop the load explains
  std::string note;
  std::string first;                                  // of a fall of PWR_OK: what went first
  bool rails_held = false;                            // of the same: the main rails stayed in regulation
  std::optional<double> load_share, load_share_most;  // of the same: load over label, worst rail
  std::vector<steadyrail::proto::Figure> figures;
  std::uint32_t id = 0;  // given by the book
};

/// Events by kind and channel, the worst of each listed, the rest counted.
class EventBook {
 public:
  /// `told`: is shown every event added, listed or not.
  explicit EventBook(std::uint32_t listed_max, std::function<void(const Found&)> told = {})
      : listed_max_(listed_max), told_(std::move(told)) {}

  /// Lists or counts; returns the event's id, 0 when it was only counted.
  std::uint32_t add(const Found& found);
  /// Counts events that are not worth listing.
  void count(steadyrail::proto::EventKind kind, std::uint8_t channel, std::uint64_t events);
  /// Counts one too short and too near the limit to list, by its scans beyond it; 0: not known.
  void count_short(steadyrail::proto::EventKind kind, std::uint8_t channel, std::uint64_t scans);
  /// Listed events of a kind and channel that share a scan with [from, to); for sharpening in place, severity kept.
  void visit(steadyrail::proto::EventKind kind, std::uint8_t channel, std::uint64_t from, std::uint64_t to,
             const std::function<void(Found&)>& change);

  bool listed(std::uint32_t id) const;
  /// All listed events in order of time.
  std::vector<const Found*> by_time() const;
  struct Count {
    steadyrail::proto::EventKind kind;
    std::uint8_t channel;
    std::uint64_t listed;
    std::uint64_t counted;
    std::span<const std::uint64_t> short_by_scans;  // empty: none was short
  };
  std::vector<Count> counts() const;

 private:
  /// Events are big: the heap moves what it sorts by, and a search in time need not open them.
  struct Listed {
    double severity;
    std::uint64_t start;  // when it was added
    std::uint64_t from;
    std::uint64_t to;
    std::unique_ptr<Found> found;
  };
  struct Shelf {
    std::vector<Listed> listed;  // a heap, the least severe first
    std::uint64_t counted = 0;
    std::vector<std::uint64_t> short_by_scans;
  };
  using Key = std::pair<int, std::uint8_t>;
  static bool milder_first(const Listed& a, const Listed& b);

  std::uint32_t listed_max_;
  std::function<void(const Found&)> told_;
  std::uint32_t next_id_ = 1;
  std::map<Key, Shelf> shelves_;
};

}  // namespace host::detect
