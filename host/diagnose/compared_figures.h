// SPDX-License-Identifier: Apache-2.0
// The figures that sessions are compared by, taken from one result.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "result.pb.h"

namespace host::diagnose {

struct SessionFigure {
  std::string figure;  // its word
  std::string channel;
  std::string rail;
  std::string unit;
  double value = 0;
  double uncertainty = 0;      // of a difference of two such figures: expanded, or half of each one's 95 % interval
  bool of_difference = false;  // uncertainty is that of a difference; else of one figure alone
  bool moves_with_load = false;
  std::optional<double> load_a = {};
};

/// In the order in which they are told. Figures that were refused or not seen are absent.
std::vector<SessionFigure> session_figures(const steadyrail::proto::SessionResult& result);

}  // namespace host::diagnose
