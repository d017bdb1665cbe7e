// SPDX-License-Identifier: Apache-2.0
// Mains, supply, cables, PC and jig inputs, advanced scan by scan. The body behind `Supply`.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <utility>
#include <vector>

#include "host/simulate/front_end.h"
#include "host/simulate/logic_line.h"
#include "host/simulate/supply.h"
#include "host/simulate/supply_parameters.h"

namespace host::simulate {

inline constexpr double kScanRateHz = 32000;
inline constexpr double kScanS = 1 / kScanRateHz;
inline constexpr double kSubStepS = kScanS / kSubSteps;

class World {
 public:
  World(const SupplyParameters& parameters, FrontEnd front_end, std::uint64_t seed, bool running);
  void next_block(wire::ScanCodes& codes, std::vector<wire::ScanEdge>& edges, const wire::JigOutputs& outputs);
  std::uint64_t scan() const { return scan_; }

  // For tests: what no jig channel shows.
  /// Told of each scan's signals, at the ends of its sub-steps, before the chain filters them.
  void watch(std::function<void(std::uint64_t scan, const Signals& signals)> watcher) { watcher_ = std::move(watcher); }
  SupplyState supply_state() const { return sequence_.state(); }
  Trip trip() const { return sequence_.trip(); }
  PcState pc_state() const { return pc_.state(); }
  double bulk_v() const { return sequence_.bulk_v(); }
  const RailSet& rails() const { return rails_; }

 private:
  void advance(const wire::JigOutputs& outputs);
  void advance_mains();
  SequenceInputs sequence_inputs() const;
  RailDrive drive() const;
  std::array<double, kGates> gate_shares(const wire::JigOutputs& outputs) const;
  TapAmps load_amps(const wire::JigOutputs& outputs);
  double load_share(Tap tap) const;
  void run_lines(bool ps_on_driven);
  void fill_signals();
  void add_edge(int line, bool high, double share, std::uint32_t pulse_ns = 0);
  void watch_chatter();

  SupplyParameters parameters_;
  FrontEnd front_end_;
  RailSet rails_;
  Mains mains_;
  AcDetector ac_;
  PowerSequence sequence_;
  Pc pc_;
  std::optional<Contact> contact_;
  Random jitter_;
  LogicLine pwr_ok_;
  LogicLine ps_on_;
  bool marker_ = false;
  bool chatter_armed_ = true;
  double switching_turns_ = 0;
  double switching_drift_ = 0;  // share of the frequency
  double standby_turns_ = 0;
  double residue_v_ = 0;  // at the end of the last scan
  double temperature_c_ = 25;
  Signals signals_{};
  std::uint64_t scan_ = 0;
  std::size_t scan_in_block_ = 0;
  std::vector<wire::ScanEdge>* edges_ = nullptr;  // of the block under way
  std::function<void(std::uint64_t, const Signals&)> watcher_;
};

}  // namespace host::simulate
