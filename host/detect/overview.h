// SPDX-License-Identifier: Apache-2.0
// The whole session in at most 1,600 columns a channel, whatever its length: neighbours merge when the room is full.
#pragma once

#include <cstdint>
#include <vector>

#include "host/model/jig.h"
#include "result.pb.h"

namespace host::detect {

struct Block;

class OverviewBook {
 public:
  static constexpr std::size_t kColumnsMax = 1600;

  void add(const Block& block);
  /// Columns no scan of which was seen say so; their figures are 0.
  void write(const model::Jig& jig, steadyrail::proto::Drawings& drawings) const;

 private:
  struct Column {
    std::int16_t low = 32767;
    std::int16_t high = -32768;
    std::int64_t sum_8 = 0;  // of 1/8 codes, weighted by scans
    std::uint32_t scans = 0;
    void add(const Column& part);
  };
  void grow(std::uint64_t to_scan);
  void merge();

  bool begun_ = false;
  std::uint64_t first_scan_ = 0;
  std::uint64_t column_scans_ = 32;
  std::size_t columns_ = 0;
  std::vector<std::vector<Column>> channels_;
};

}  // namespace host::detect
