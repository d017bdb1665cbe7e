// SPDX-License-Identifier: Apache-2.0
// What the jig says of itself beside what it measured: why it switched off, how it began, which edges it did not tell,
// which ramps it followed.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "link.pb.h"

namespace host::decode {

/// In plain words, with what is known of the place: "load gate 3 ...". Empty: no cause stands.
std::string safety_words(const steadyrail::proto::Status& status);

/// How a boot began, in words; empty for what is no news: power on, the reset pin, or nothing told.
std::string reset_words(std::uint32_t reset_cause);

class JigStory {
 public:
  /// Scans are the session's.
  void take(const steadyrail::proto::Status& status, double scan_rate_hz);
  void take(const steadyrail::proto::Event& event);
  void take(const steadyrail::proto::RampBlock& ramp);
  void restarted();
  /// One sentence for each thing that happened, in the order of time; sums last.
  std::vector<std::string> remarks() const;

 private:
  static constexpr std::size_t kToldMost = 20;
  static constexpr std::size_t kRampsMost = 1000;

  std::vector<std::string> told_;
  steadyrail::proto::SafetyCause standing_ = steadyrail::proto::SAFETY_CAUSE_NONE;
  bool boot_told_ = false;
  std::uint32_t boots_ = 0;
  std::uint64_t edges_untold_ = 0;
  std::map<std::pair<std::uint32_t, std::uint32_t>, std::uint32_t> points_left_;  // by boot and ramp
};

}  // namespace host::decode
