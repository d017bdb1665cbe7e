// SPDX-License-Identifier: Apache-2.0
// The return conductors: they meet at the board and at the card, so a plug's return current is not its supply current.
//
//   supply 0 V --- upstream --- tap --- downstream --- board or card      one path per connector
//                                                      board --- tie --- card
#pragma once

#include <array>
#include <cstddef>
#include <vector>

namespace host::simulate {

enum GroundNode : std::size_t { kBoard = 0, kCard = 1 };
inline constexpr std::size_t kGroundNodes = 2;

struct ReturnPath {
  double upstream_ohm = 0;    // supply to tap, contact included
  double downstream_ohm = 0;  // tap to its node
  GroundNode node = kBoard;
};

/// Purely resistive: the loop's inductance is carried by the supply conductor.
class GroundNetwork {
 public:
  GroundNetwork() = default;  // ideal: every node at 0 V
  /// Each path needs a resistance above zero.
  GroundNetwork(std::vector<ReturnPath> paths, double tie_ohm);

  /// Volts at node `of` per ampere flowing into node `from`; 0 when ideal.
  double ohm(GroundNode of, GroundNode from) const { return ohm_[of][from]; }
  /// Volts of both nodes above the supply's 0 V for the currents (A) flowing into them.
  std::array<double, kGroundNodes> node_volts(const std::array<double, kGroundNodes>& amps) const {
    return {ohm_[0][0] * amps[0] + ohm_[0][1] * amps[1], ohm_[1][0] * amps[0] + ohm_[1][1] * amps[1]};
  }
  /// Current (A) of return path `index` and its tap's volts above the supply's 0 V, from the nodes' volts.
  double path_amps(std::size_t index, const std::array<double, kGroundNodes>& volts) const {
    return volts[paths_[index].node] * conductance_[index];
  }
  double tap_volts(std::size_t index, const std::array<double, kGroundNodes>& volts) const {
    return volts[paths_[index].node] * tap_share_[index];
  }
  std::size_t path_count() const { return paths_.size(); }

 private:
  std::vector<ReturnPath> paths_;
  std::vector<double> conductance_;
  std::vector<double> tap_share_;  // tap volts as a share of the node's
  std::array<std::array<double, kGroundNodes>, kGroundNodes> ohm_{};
};

}  // namespace host::simulate
