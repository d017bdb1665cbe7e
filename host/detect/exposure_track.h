// SPDX-License-Identifier: Apache-2.0
// Load and events of the whole session in short columns: what the chance of an event just before a lock-up is counted
// from.
#pragma once

#include <cstdint>
#include <limits>
#include <utility>
#include <vector>

#include "diagnosis.pb.h"
#include "host/detect/block.h"
#include "host/detect/found.h"
#include "host/model/jig.h"

namespace host::detect {

class ExposureTrack {
 public:
  static constexpr double kColumnS = 0.25;  // at first; columns are merged in pairs when there are too many
  static constexpr std::size_t kColumnsMost = std::size_t{1} << 16;  // of a quarter of a second: four and a half hours
  static constexpr std::size_t kEventsMost = std::size_t{1} << 16;

  explicit ExposureTrack(const model::Jig& jig);

  void add(const Block& block);
  /// Every event found, listed or not. Kept are those a supply, its wiring or the mains may answer for: excursions,
  /// sags the load does not explain, steps of contacts, pulses of the logic lines, losses of mains, shutdowns.
  void event(const Found& found);
  void write(steadyrail::proto::Exposure& out) const;

 private:
  struct Column {
    double joules = 0;
    double seen_scans = 0;
    double least_w = std::numeric_limits<double>::infinity();  // of its windows
    double most_w = -std::numeric_limits<double>::infinity();
  };
  struct Event {
    double at_s = 0;
    std::uint8_t kind = 0;  // index of its word
    std::uint8_t channel = 0;
  };
  void merge();
  void spread(const Block& block);

  const model::Jig& jig_;
  std::vector<std::pair<const model::JigChannel*, double>> currents_;  // and the nominal voltage of their rail
  double column_scans_;
  std::vector<Column> columns_;
  std::vector<Event> events_;
  bool cut_ = false;
};

}  // namespace host::detect
