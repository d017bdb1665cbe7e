// SPDX-License-Identifier: Apache-2.0
// Channels that do not carry what the jig's description says: found in the first second the supply is on, stuck and
// clipped ones at any time. Such a channel speaks of the jig's wiring as much as of the supply: it decides nothing.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "host/detect/block.h"
#include "host/model/jig.h"
#include "result.pb.h"

namespace host::detect {

enum class ChannelFault {
  kStuck,      // not one code of movement in a second while most other channels move
  kClipped,    // at an end of its range in every block of a second
  kMissing,    // 0 V: how an open sense lead, a shorted pair and a reversed plug of a positive rail read alike
  kWrongSign,  // -12 V above 0 V: reversed or open
  kWrongRail,  // another rail's nominal
  kSwapped,    // the same, and the channel of that rail carries this one's
};

struct ChannelFinding {
  std::size_t channel = 0;
  ChannelFault fault = ChannelFault::kStuck;
  std::uint64_t scan = 0;                                             // end of the second it was found in
  steadyrail::proto::Rail carried = steadyrail::proto::RAIL_UNKNOWN;  // of a wrong rail
  std::string words;                                                  // "main-5v reads ...", without a full stop
};

/// Looks at whole seconds without a hole in which the supply was on; +5 V standby also at those in which it only was
/// due (Block::standby). Two connectors of one rail, or +5 V and +5 V standby, carry the same nominal: that these are
/// swapped cannot be seen. A return lead that is off shows nowhere in the readings.
///
/// A channel that once carried its own rail for a second is wired to it: from then on a missing or a wrong voltage is
/// the supply's doing, and stays a verdict. Nor is standby that never rose while the supply was off a finding.
class ChannelCheck {
 public:
  explicit ChannelCheck(const model::Jig& jig);
  void add(const Block& block);
  void gap();
  /// At most one a channel, in the order found.
  std::span<const ChannelFinding> findings() const { return findings_; }

 private:
  struct Second {
    struct Channel {
      std::int16_t low = 0;
      std::int16_t high = 0;
      double sum = 0;                           // of codes over scans
      std::uint32_t moved = 0;                  // blocks with more than one code
      std::uint32_t at_bottom = 0, at_top = 0;  // blocks that reach an end of the range
    };
    std::array<Channel, wire::kChannelCount> channels{};
    std::uint64_t scans = 0;
    std::uint32_t blocks = 0;
  };
  using Found = std::vector<ChannelFinding>;

  bool add(const Block& block, Second& second) const;
  void judge(const Second& second, bool supply_on, std::uint64_t end);
  bool stuck(const Second& second, const model::JigChannel& channel) const;
  /// Adds to `found` when the channel is at fault; else notes that it carries its rail.
  void judge_voltage(const Second& second, const model::JigChannel& channel, bool supply_on, Found& found);
  void pair(Found& found) const;
  std::string words(const Second& second, const ChannelFinding& finding, const Found& found) const;
  bool known(std::size_t channel) const;

  const model::Jig& jig_;
  Second on_;
  Second standby_;
  std::array<bool, wire::kChannelCount> own_seen_{};
  std::vector<ChannelFinding> findings_;
};

/// Adds a remark for each finding and leaves every verdict and every event of its channel that was decided undecided.
void write_channel_findings(const model::Jig& jig, std::span<const ChannelFinding> findings,
                            steadyrail::proto::SessionResult& result);

}  // namespace host::detect
