// SPDX-License-Identifier: Apache-2.0
// Rails written down a second time, as circuits, and run through ngspice there and then.
#pragma once

#include <string>
#include <vector>

#include "host/simulate/rail_run.h"

namespace host::simulate {

inline constexpr double kRateHz = 32000;
inline constexpr double kScan = 1 / kRateHz;

/// A two-connector +12 V rail and its load, by name: healthy, tired-capacitors, loose-connector, weak-12v,
/// intermittent.
struct RailCase {
  std::string name;
  RailParameters parameters;
  std::vector<LoadLine> loads;
  std::vector<ContactChange> contacts;
  ReturnLayout returns;
  std::size_t scans = 640;
};
RailCase rail_case(const std::string& name);
GroupParameters group_parameters();
inline LoadLine group_load_12v() {
  return {{0, 4}, {64 * kScan, 4}, {67 * kScan, 16}};
}
inline LoadLine group_load_5v() {
  return {{0, 6}};
}

/// Columns of ngspice's answer, one row a scan, the first at time 0. Row numbers are scans.
using Traces = std::vector<std::vector<double>>;

/// Columns: output, each tap against its own return, then the return taps if there are any. Fails the test when ngspice
/// does not run.
Traces run_ngspice(const RailCase& rail);
/// Columns: +12 V, +5 V.
Traces run_ngspice(const std::string& name, const GroupParameters& group, const LoadLine& load_12v,
                   const LoadLine& load_5v, std::size_t scans);
/// Any netlist that writes `<name>.out` with wrdata in single-scale form; `columns` values a row.
Traces run_netlist(const std::string& name, const std::string& netlist, std::size_t columns);

/// Largest difference of two traces of the same length, in mV.
double worst_mv(const std::vector<double>& left, const std::vector<double>& right);

}  // namespace host::simulate
