// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/host/detect/rail_step_fixture.h"

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <sstream>

#include <fmt/format.h>
#include <unistd.h>

namespace host::detect {
namespace {

void replace(std::string& text, const std::string& what, const std::string& with) {
  const auto at = text.find(what);
  if (at != std::string::npos) text.replace(at, what.size(), with);
}

RailTrace run_now(const RailStep& step) {
  namespace fs = std::filesystem;
  std::ifstream from(STEADYRAIL_SOURCE_DIR "/tests/reference/rail_step.cir");
  std::string netlist{std::istreambuf_iterator<char>(from), {}};
  replace(netlist, "@RD@", fmt::format("{}", step.droop_ohm));
  replace(netlist, "@ILIM@", fmt::format("{}", step.limit_a));
  replace(netlist, "@ESR@", fmt::format("{}", step.esr_ohm));
  replace(netlist, "@C@", fmt::format("{}", step.bulk_f));
  replace(netlist, "@RWA@", fmt::format("{}", step.wire_a_ohm));
  replace(netlist, "@LOADA@", step.load_a);
  while (netlist.contains("@STEP@")) replace(netlist, "@STEP@", fmt::format("{}", 1 / 32000.0 / step.rows_per_scan));
  const fs::path folder =
      fs::path(STEADYRAIL_BUILD_DIR) / "ngspice" / fmt::format("{}-{}", step.name, static_cast<int>(getpid()));
  fs::create_directories(folder);
  std::ofstream(folder / "rail_step.cir") << netlist;
  const std::string command = fmt::format("cd '{}' && ngspice -b rail_step.cir > log 2>&1", folder.string());
  RailTrace trace;
  if (std::system(command.c_str()) != 0) return trace;
  std::ifstream out(folder / "rail_step.out");
  std::string line;
  std::getline(out, line);
  while (std::getline(out, line)) {
    std::istringstream numbers(line);
    double time = 0, vo = 0, tapa = 0, tapb = 0;
    if (!(numbers >> time >> vo >> tapa >> tapb)) break;
    trace.vo.push_back(vo);
    trace.tapa.push_back(tapa);
    trace.tapb.push_back(tapb);
  }
  fs::remove_all(folder);
  return trace;
}

}  // namespace

RailStep healthy() {
  return {.name = "healthy"};
}
RailStep tired_capacitors() {
  return {.name = "tired-capacitors", .esr_ohm = 25e-3, .bulk_f = 3000e-6};
}
RailStep loose_connector() {
  return {.name = "loose-connector", .wire_a_ohm = 44e-3};
}
RailStep weak_12v() {
  return {.name = "weak-12v",
          .droop_ohm = 3e-3,
          .limit_a = 38,
          .load_a = "0 20 0.002 20 0.00209375 45 0.00309375 45 0.0031875 20 0.02 20"};
}

RailStep finely(RailStep step) {
  step.rows_per_scan = 64;
  step.name += "-finely";
  return step;
}

RailTrace run_ngspice(const RailStep& step) {
  static std::map<std::string, RailTrace> done;
  if (const auto found = done.find(step.name); found != done.end()) return found->second;
  return done[step.name] = run_now(step);
}

std::vector<int> microvolts(const std::vector<double>& volts) {
  std::vector<int> levels;
  for (double v : volts) levels.push_back(static_cast<int>(std::lround(v * 1e6)));
  return levels;
}

}  // namespace host::detect
