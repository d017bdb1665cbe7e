// SPDX-License-Identifier: Apache-2.0
// Captures: which triggers get one, and packing them out of the ring while it runs on. A few slots share one page pool;
// one slot and a share of the pages are kept for edges of PWR_OK, PS_ON# and AC-present.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "firmware/core/capture_ring.h"
#include "firmware/core/health.h"
#include "firmware/core/packed_scans.h"
#include "firmware/core/page_pool.h"
#include "firmware/core/settings.h"

namespace firmware {

inline constexpr std::size_t kCaptureSlots = 4;
inline constexpr std::size_t kEdgeSlots = 1;    // of them, for edges alone
inline constexpr std::size_t kSteadySlots = 1;  // of them, never for ordinary steps
inline constexpr std::size_t kEdgePages = 24;   // of the pool, for edges alone

enum class CaptureCause : std::uint8_t { kExcursion = 1, kLoadStep = 2, kEdge = 3 };  // of the schema's CaptureCause

struct CaptureTrigger {
  CaptureCause cause = CaptureCause::kExcursion;
  std::uint64_t scan = 0;
  std::uint8_t channel = 0;
  bool ordinary = false;     // a sample of many: no harm when no slot is free
  std::uint32_t one_of = 0;  // so many; 0: no sample
};

/// One frame's worth of a capture.
struct CapturePiece {
  std::uint32_t capture = 0;
  CaptureTrigger trigger{};
  std::uint64_t first_scan = 0;
  std::uint32_t scan_count = 0;
  std::uint32_t remaining = 0;  // frames of this capture still to come
  std::uint32_t scans_cut = 0;  // at the capture's end, asked for and not in it
  PackedBody packed;
};

class CaptureStore {
 public:
  /// `captures` were taken before; 0 is none.
  CaptureStore(const CaptureRing& ring, Health& health, std::uint32_t captures = 0)
      : ring_(ring), health_(health), captures_(captures) {}

  /// `settings` must stay unchanged until close().
  void begin(const Settings& settings);

  /// True when it gets a capture or lies well inside one already being taken.
  bool trigger(const CaptureTrigger& trigger);

  /// True when excursions anywhere in [first_scan, last_scan] would all be covered, or all be turned away.
  bool answers_alike(std::uint64_t first_scan, std::uint64_t last_scan) const;
  /// So many triggers of such excursions at once, the last one at `last_scan`.
  void trigger_alike(std::uint32_t count, std::uint64_t last_scan);

  /// A gap or the end: captures being taken end at the ring's end.
  void close();

  /// Packs one stretch of up to 32 scans; false when there is nothing to pack now. Call before the ring overwrites it.
  bool pack_step();

  /// The next piece to send, or false.
  bool take_piece(CapturePiece& out);
  bool empty() const;

 private:
  enum class State : std::uint8_t { kFree, kTaking, kReady };

  struct Slot {
    State state = State::kFree;
    std::uint32_t capture = 0;
    CaptureTrigger trigger{};
    std::uint64_t first_scan = 0;
    std::uint64_t next_scan = 0;  // to be packed
    std::uint64_t end_scan = 0;
    std::uint32_t channel_mask = 0;
    std::uint32_t scans_cut = 0;
    std::uint32_t pieces = 0;  // still in the chain
    PageChain chain{};
  };

  /// What triggers ask for at least: channels, and half of the scans after them.
  struct Need {
    std::uint32_t channel_mask = 0;
    std::uint32_t after_scans = 0;
  };

  const CaptureGroup& group_of(std::uint8_t channel) const;
  static bool covers(const Slot& slot, const Need& need, std::uint64_t first_scan, std::uint64_t last_scan);
  bool covered(const Need& need, std::uint64_t scan);
  void turn_away(std::uint32_t count, std::uint64_t last_scan);
  std::size_t pages_promised() const;
  Slot* free_slot(const CaptureTrigger& trigger, std::size_t pages_asked);
  Slot* most_urgent();
  void pack(Slot& slot);
  void store(Slot& slot, std::uint32_t scan_count);
  void end_taking(Slot& slot);

  const CaptureRing& ring_;
  Health& health_;
  const Settings* settings_ = nullptr;  // of the latest run
  Need need_all_{};                     // of every group
  std::size_t pages_least_ = 0;         // of the smallest group
  std::uint32_t captures_;              // since boot
  std::uint64_t ordinary_from_ = 0;     // no ordinary trigger before this scan
  Slot* covering_ = nullptr;            // the slot that covered the latest trigger
  std::uint64_t full_from_ = 0;         // while full: from here on no slot covers a trigger
  bool full_ = false;                   // a trigger found no slot, and nothing has been freed or packed since
  std::array<Slot, kCaptureSlots> slots_{};
  PagePool pool_;
  PackedBody packed_{};
};

}  // namespace firmware
