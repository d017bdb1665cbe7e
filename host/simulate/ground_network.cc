// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/ground_network.h"

#include <utility>

namespace host::simulate {

GroundNetwork::GroundNetwork(std::vector<ReturnPath> paths, double tie_ohm) : paths_(std::move(paths)) {
  std::array<double, kGroundNodes> node{};
  for (const ReturnPath& path : paths_) {
    const double total = path.upstream_ohm + path.downstream_ohm;
    conductance_.push_back(1 / total);
    tap_share_.push_back(path.upstream_ohm / total);
    node[path.node] += 1 / total;
  }
  // Inverse of [[board + tie, -tie], [-tie, card + tie]] in conductances.
  const double tie = 1 / tie_ohm;
  const double board = node[kBoard] + tie;
  const double card = node[kCard] + tie;
  const double determinant = board * card - tie * tie;
  ohm_ = {{{card / determinant, tie / determinant}, {tie / determinant, board / determinant}}};
}

}  // namespace host::simulate
