// SPDX-License-Identifier: Apache-2.0
// Traces of a load step computed by ngspice there and then: tests/reference/rail_step.cir.
#pragma once

#include <string>
#include <vector>

namespace host::detect {

/// What differs between the supplies; ohms, farads, amps.
struct RailStep {
  std::string name;
  double droop_ohm = 1e-3;
  double limit_a = 75;
  double esr_ohm = 5e-3;
  double bulk_f = 6600e-6;
  double wire_a_ohm = 9e-3;
  int rows_per_scan = 1;
  std::string load_a = "0 5 0.002 5 0.00209375 25 0.012 25 0.01209375 5 0.02 5";  // seconds and amps in turn
};

/// 5 to 25 A on connector A from scan 64 to scan 384, 8 A on B; edges of three scans.
RailStep healthy();
RailStep tired_capacitors();
RailStep loose_connector();
/// Current limit 38 A; 20 to 45 A on A from scan 64 to scan 99.
RailStep weak_12v();

/// The same with 64 rows a scan: what the jig's inputs see, not what it samples.
RailStep finely(RailStep step);

/// V at 32 kS/s, 641 samples (64 times as many and 1 when computed finely): supply output, connector A, connector B.
struct RailTrace {
  std::vector<double> vo, tapa, tapb;
};

/// Empty traces when ngspice did not run; its log then stands in the build folder.
RailTrace run_ngspice(const RailStep& step);

/// Whole microvolts, for the integer detectors.
std::vector<int> microvolts(const std::vector<double>& volts);

}  // namespace host::detect
