// SPDX-License-Identifier: Apache-2.0
#include "host/model/transient_check.h"

#include <fmt/format.h>

namespace host::model {
namespace {

using steadyrail::proto::LimitStatus;
using steadyrail::proto::StepBasis;
using steadyrail::proto::TransientLimit;

// Past these a figure is a slip of unit: no published step or slew comes near.
constexpr double kPercentMost = 1000;
constexpr double kAmpsMost = 1000;
constexpr double kSlewMost = 1000;  // A/us
constexpr double kMicrofaradsMost = 1e6;

bool positive(double value, double most) {
  return value > 0 && value <= most;
}

template <typename Row>
void origin(const Row& row, const Place& at, TextErrors& errors) {
  if (row.rail() == steadyrail::proto::RAIL_UNKNOWN) errors.push_back(at.error("rail", "a limit names no rail"));
  if (row.output().empty()) {
    errors.push_back(at.error("output", "a limit does not say how its document prints the output"));
  }
  if (row.table().empty()) errors.push_back(at.error("table", "a limit names no table"));
  if (row.source().empty()) errors.push_back(at.error("source", "a limit names no source"));
  if (row.status() == LimitStatus::LIMIT_STATUS_UNKNOWN) {
    errors.push_back(at.error("status", "a limit does not say whether it was read, secondary or from memory"));
  }
}

void size(const TransientLimit& row, const Place& at, TextErrors& errors) {
  if (row.basis() == StepBasis::STEP_BASIS_UNKNOWN) {
    errors.push_back(at.error("basis", "a load step does not say what it is a share of"));
    return;
  }
  const bool amperes = row.basis() == StepBasis::STEP_BASIS_AMPERES;
  if (amperes != row.has_step_a() || amperes == row.has_step_percent()) {
    errors.push_back(at.error("basis", "a load step has either step_a, in amperes, or step_percent of its basis"));
    return;
  }
  if (amperes && !positive(row.step_a(), kAmpsMost)) {
    errors.push_back(
        at.error("step_a", fmt::format("step_a {} is not above 0, at most {} A", row.step_a(), kAmpsMost)));
  }
  if (!amperes && !positive(row.step_percent(), kPercentMost)) {
    errors.push_back(at.error(
        "step_percent", fmt::format("step_percent {} is not above 0, at most {} %", row.step_percent(), kPercentMost)));
  }
  if (row.has_recommended_percent() &&
      !(row.recommended_percent() >= row.step_percent() && row.recommended_percent() <= kPercentMost)) {
    errors.push_back(at.error("recommended_percent", "a recommended step is not smaller than the required one"));
  }
  if (row.has_from_percent() && !(row.from_percent() >= 0 && row.from_percent() <= kPercentMost)) {
    errors.push_back(
        at.error("from_percent", fmt::format("from_percent {} is no share of a load", row.from_percent())));
  }
}

void speed(const TransientLimit& row, const Place& at, TextErrors& errors) {
  if (row.has_slew_a_per_us()) {
    if (!positive(row.slew_a_per_us(), kSlewMost)) {
      errors.push_back(at.error(
          "slew_a_per_us", fmt::format("slew_a_per_us {} is not above 0, at most {}", row.slew_a_per_us(), kSlewMost)));
    }
    if (row.slew_status() == LimitStatus::LIMIT_STATUS_UNKNOWN) {
      errors.push_back(at.error("slew_status", "a slew does not say whether it was read, secondary or from memory"));
    }
  }
  if (row.has_slew_large_a_per_us() && !(row.has_slew_a_per_us() && positive(row.slew_large_a_per_us(), kSlewMost))) {
    errors.push_back(at.error("slew_large_a_per_us", "slew_large_a_per_us stands beside slew_a_per_us, above 0"));
  }
  if (row.has_repetition_least_hz() || row.has_repetition_most_hz()) {
    if (!(row.repetition_least_hz() > 0 && row.repetition_least_hz() < row.repetition_most_hz())) {
      errors.push_back(at.error("repetition_least_hz", "the repetition must rise from repetition_least_hz above 0"));
    }
    if (row.repetition_status() == LimitStatus::LIMIT_STATUS_UNKNOWN) {
      errors.push_back(
          at.error("repetition_status", "a repetition does not say whether it was read, secondary or from memory"));
    }
  }
}

}  // namespace

TextErrors transient_contradictions(const steadyrail::proto::LimitSet& limits, const Place& place) {
  TextErrors errors;
  for (int i = 0; i < limits.transient_size(); ++i) {
    const Place at = place.nested("transient", i);
    origin(limits.transient(i), at, errors);
    size(limits.transient(i), at, errors);
    speed(limits.transient(i), at, errors);
  }
  for (int i = 0; i < limits.capacitive_load_size(); ++i) {
    const Place at = place.nested("capacitive_load", i);
    origin(limits.capacitive_load(i), at, errors);
    if (positive(limits.capacitive_load(i).microfarads(), kMicrofaradsMost)) continue;
    errors.push_back(at.error("microfarads", fmt::format("microfarads {} is not above 0, at most {}",
                                                         limits.capacitive_load(i).microfarads(), kMicrofaradsMost)));
  }
  return errors;
}

}  // namespace host::model
