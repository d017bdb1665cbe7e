// SPDX-License-Identifier: Apache-2.0
// Plays a programme of load steps in bench. Edges lie where the programme puts them, to 1/256 scan; they are loaded
// into the board's timer a block ahead (and by what the board leads), so that no code is in their way when they are
// due.
//
//   block n taken     told: edges of these 32 scans
//   |<- 32 scans ->|<----- lead ----->|<- 32 scans ->|
//                  next_scan
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "firmware/core/load_bank.h"
#include "firmware/core/load_heat.h"
#include "firmware/core/outputs.h"
#include "firmware/core/rate_limit.h"
#include "firmware/core/telemetry.h"

namespace firmware {

inline constexpr std::uint32_t kGateEdgesPerSecond = 200;  // told; the programme says where the others lie
inline constexpr std::uint32_t kGateEdgesBurst = 64;

class LoadSequencer {
 public:
  LoadSequencer(Outputs& outputs, Health& health, Telemetry& telemetry)
      : outputs_(outputs), health_(health), telemetry_(telemetry) {
    limit_.begin(0);
    heat_.describe(bank_);
  }

  /// What programmes are checked against from now on.
  void describe(const LoadBank& bank) { bank_ = bank; }
  const LoadBank& bank() const { return bank_; }

  /// Replaces the programme; it begins with the first block that is not loaded yet. Refused when it exceeds the bank;
  /// what was playing then plays on. At most kLoadStepsMax steps; `rounds` not 0.
  Refused play(std::span<const LoadStep> steps, std::uint32_t rounds);
  void cancel() { rounds_left_ = 0; }
  bool playing() const { return rounds_left_ != 0; }

  /// After a block: loads the edges of the next one. False when they come too late, or the board takes no more: the
  /// programme is then not what was asked for.
  [[nodiscard]] bool on_block();

  /// After a block, whatever the mode and what stands: the bank cools on.
  void note_heat();
  bool too_hot() const { return heat_.beyond(); }

  /// A gate that will have been on for as long as it may by the end of the next block.
  std::optional<std::uint8_t> on_too_long() const;

 private:
  std::uint64_t next_edge_scan() const { return health_.next_scan + outputs_.lead_scans(); }
  std::uint64_t due_scan() const { return due_256_ / 256; }
  void advance();
  bool load_due();
  void tell(const GateEdge& edge, std::uint8_t gate);

  Outputs& outputs_;
  Health& health_;
  Telemetry& telemetry_;
  LoadBank bank_{};
  LoadHeat heat_{};
  std::array<LoadStep, kLoadStepsMax> steps_{};
  std::size_t count_ = 0;
  std::size_t next_ = 0;
  std::uint32_t rounds_left_ = 0;
  std::uint64_t due_256_ = 0;      // of the next step, in 1/256 scan since boot
  std::uint32_t due_rest_ = 0;     // beyond, in 1/125 of that
  std::uint64_t loaded_scan_ = 0;  // of the latest edge
  std::uint32_t untold_ = 0;
  RateLimit limit_{kGateEdgesPerSecond, kGateEdgesBurst};
};

}  // namespace firmware
