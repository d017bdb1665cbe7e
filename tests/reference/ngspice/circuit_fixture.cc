// SPDX-License-Identifier: Apache-2.0
#include "tests/reference/ngspice/circuit_fixture.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <numbers>
#include <sstream>

namespace host::simulate {
namespace {

constexpr double kTwoPi = 2 * std::numbers::pi;

std::string points(const LoadLine& line, double end_s) {
  std::string text;
  for (const LoadPoint& point : line) text += fmt::format("{:.12g} {:.12g} ", point.time_s, point.amps);
  return text + fmt::format("{:.12g} {:.12g}", end_s, line.back().amps);
}

/// The resistance that changes is a voltage source that follows its own current.
std::string wire(const RailCase& rail, std::size_t index, double end_s) {
  const double ohm = rail.parameters.harnesses[index].wire_ohm;
  std::string steps;
  double level = 0;
  for (const ContactChange& change : rail.contacts) {
    if (change.harness != index) continue;
    steps += fmt::format(" {:.12g} {:.12g} {:.12g} {:.12g}", change.time_s, level, change.time_s + 1e-9, change.ohm);
    level = change.ohm;
  }
  if (steps.empty()) return fmt::format("Rw{0} a{0} tap{0} {1:.12g}\n", index, ohm);
  return fmt::format("Vs{0} a{0} b{0} 0\nBw{0} b{0} tap{0} V = I(Vs{0})*({1:.12g}+V(sw{0}))\n", index, ohm) +
         fmt::format("Vsw{0} sw{0} 0 PWL(0 0{1} {2:.12g} {3:.12g})\n", index, steps, end_s, level);
}

std::string harness(const RailCase& rail, std::size_t index, double end_s) {
  const Harness& h = rail.parameters.harnesses[index];
  const std::string ground = rail.returns.paths.empty() ? "0" : (h.node == kBoard ? "board" : "card");
  std::string text = fmt::format("L{0} vo a{0} {1:.12g}\n", index, h.loop_henry) + wire(rail, index, end_s);
  text += fmt::format("Rd{0} tap{0} load{0} {1:.12g}\n", index, h.downstream_ohm);
  text += fmt::format("Re{0} load{0} m{0} {1:.12g}\nCm{0} m{0} {3} {2:.12g}\n", index, h.load_esr_ohm, h.load_farad,
                      ground);
  return text + fmt::format("I{0} load{0} {2} PWL({1})\n", index, points(rail.loads[index], end_s), ground);
}

std::string returns(const ReturnLayout& layout) {
  if (layout.paths.empty()) return "";
  std::string text = fmt::format("Rtie board card {:.12g}\n", layout.tie_ohm);
  for (std::size_t i = 0; i < layout.paths.size(); ++i) {
    const ReturnPath& path = layout.paths[i];
    text += fmt::format("Rr{0} 0 ret{0} {1:.12g}\nRs{0} ret{0} {3} {2:.12g}\n", i, path.upstream_ohm,
                        path.downstream_ohm, path.node == kBoard ? "board" : "card");
  }
  return text;
}

std::string analysis(const std::string& name, const std::string& columns, double end_s) {
  return fmt::format(
      ".options reltol=1e-5 abstol=1e-9 vntol=1e-8 method=trap\n.control\nset numdgt=10\nset wr_singlescale\n"
      "set wr_vecnames\ntran {0:.12g} {1:.12g} 0 0.25u\nlinearize {2}\nwrdata {3}.out {2}\nquit\n.endc\n.end\n",
      kScan, end_s, columns, name);
}

/// Controller states are 1 F capacitors: 1 V is one unit.
std::string rail_netlist(const RailCase& rail) {
  const RailParameters& p = rail.parameters;
  const double end_s = static_cast<double>(rail.scans) * kScan;
  std::string text = fmt::format("* {}: averaged rail, type-II voltage loop, limited inner current loop\n", rail.name);
  text += fmt::format("Be e 0 V = {:.12g} - V(vo) - {:.12g}*V(il)\n", p.set_v, p.droop_ohm);
  text += fmt::format("Bf 0 xf I = {:.15g}*(V(e)-V(xf))\nCf xf 0 1\n", kTwoPi * p.pole_hz);
  text += fmt::format("Bu u 0 V = {:.12g}*V(xf)+V(z)\nBs us 0 V = min(V(u),{:.12g})\n", p.loop_gain_a_per_v, p.limit_a);
  text += fmt::format("Bz 0 z I = {1:.15g}*{0:.12g}*V(xf) - {1:.15g}*(V(u)-V(us))\nCz z 0 1\n", p.loop_gain_a_per_v,
                      kTwoPi * p.zero_hz);
  text += fmt::format("Bi 0 il I = {:.15g}*(V(us)-V(il))\nCi il 0 1\n", kTwoPi * p.current_loop_hz);
  text += fmt::format("Bo 0 vo I = V(il)\nCh vo 0 {:.12g}\nLesl vo n1 {:.12g}\nResr n1 n2 {:.12g}\nCb n2 0 {:.12g}\n",
                      p.ceramic_farad, p.bulk_esl_henry, p.bulk_esr_ohm, p.bulk_farad);
  std::string columns = "v(vo)";
  for (std::size_t i = 0; i < p.harnesses.size(); ++i) {
    text += harness(rail, i, end_s);
    columns += fmt::format(" v(tap{})", i);
  }
  for (std::size_t i = 0; i < rail.returns.paths.size(); ++i) columns += fmt::format(" v(ret{})", i);
  return text + returns(rail.returns) + analysis(rail.name, columns, end_s);
}

std::string group_netlist(const std::string& name, const GroupParameters& g, const LoadLine& load_12v,
                          const LoadLine& load_5v, double end_s) {
  std::string text = "* +12 V and +5 V share one transformer and one error amplifier (weighted-sum feedback)\n";
  text += fmt::format("Bu 0 u I = {:.15g}*({:.12g}*(1-V(v12)/12)+{:.12g}*(1-V(v5)/5))\nCu u 0 1\n", g.integral_per_s,
                      g.weight_12v, g.weight_5v);
  text += fmt::format("B12 s12 0 V = 12*V(u)\nR12 s12 x12 {:.12g}\nL12 x12 v12 {:.12g}\nRE12 v12 c12 {:.12g}\n",
                      g.ohm_12v, g.henry_12v, g.esr_12v_ohm);
  text += fmt::format("C12 c12 0 {:.12g}\nI12 v12 0 PWL({})\n", g.farad_12v, points(load_12v, end_s));
  text += fmt::format("B5 s5 0 V = 5*V(u)\nR5 s5 x5 {:.12g}\nL5 x5 v5 {:.12g}\nRE5 v5 c5 {:.12g}\n", g.ohm_5v,
                      g.henry_5v, g.esr_5v_ohm);
  text += fmt::format("C5 c5 0 {:.12g}\nI5 v5 0 PWL({})\n", g.farad_5v, points(load_5v, end_s));
  return text + analysis(name, "v(v12) v(v5)", end_s);
}

RailParameters sound_rail() {
  RailParameters p;
  p.set_v = 12.10;
  p.bulk_farad = 6600e-6;
  p.bulk_esr_ohm = 5e-3;
  p.bulk_esl_henry = 4e-9;
  p.ceramic_farad = 47e-6;
  p.loop_gain_a_per_v = 100;
  p.zero_hz = 300;
  p.pole_hz = 20e3;
  p.current_loop_hz = 15e3;
  p.droop_ohm = 1e-3;
  p.limit_a = 75;
  p.harnesses = {{9e-3, 2e-3, 0.40e-6, 1000e-6, 8e-3, kBoard}, {10e-3, 2e-3, 0.45e-6, 800e-6, 8e-3, kBoard}};
  return p;
}

}  // namespace

RailCase rail_case(const std::string& name) {
  RailCase rail;
  rail.name = name;
  rail.parameters = sound_rail();
  const LoadLine step = {{0, 5}, {64 * kScan, 5}, {67 * kScan, 25}, {384 * kScan, 25}, {387 * kScan, 5}};
  rail.loads = {step, {{0, 8}}};
  if (name == "tired-capacitors") {
    rail.parameters.bulk_farad = 3000e-6;
    rail.parameters.bulk_esr_ohm = 25e-3;
  } else if (name == "weak-12v") {
    rail.parameters.limit_a = 38;
    rail.parameters.droop_ohm = 3e-3;
    rail.loads[0] = {{0, 20}, {64 * kScan, 20}, {67 * kScan, 45}, {99 * kScan, 45}, {102 * kScan, 20}};
  } else if (name == "loose-connector") {
    rail.parameters.harnesses[0].wire_ohm += 35e-3;
  } else if (name == "intermittent") {
    rail.loads[0] = {{0, 25}};
    rail.contacts = {{128 * kScan, 0, 35e-3}, {256 * kScan, 0, 0}};
  }
  return rail;
}

GroupParameters group_parameters() {
  GroupParameters g;
  g.weight_12v = 0.6;
  g.weight_5v = 0.4;
  g.ohm_12v = 20e-3;
  g.ohm_5v = 12e-3;
  g.henry_12v = 8e-6;
  g.henry_5v = 3e-6;
  g.farad_12v = 4000e-6;
  g.farad_5v = 5000e-6;
  g.esr_12v_ohm = 15e-3;
  g.esr_5v_ohm = 10e-3;
  g.integral_per_s = kTwoPi * 80;
  return g;
}

Traces run_netlist(const std::string& name, const std::string& netlist, std::size_t columns) {
  const std::filesystem::path folder = std::filesystem::path(STEADYRAIL_BUILD_DIR) / "ngspice";
  std::filesystem::create_directories(folder);
  std::filesystem::remove(folder / (name + ".out"));
  std::ofstream(folder / (name + ".cir")) << netlist;
  const std::string command =
      fmt::format("cd '{0}' && timeout 120 ngspice -b {1}.cir > {1}.log 2>&1", folder.string(), name);
  const int status = std::system(command.c_str());
  std::ifstream in(folder / (name + ".out"));
  EXPECT_TRUE(in.good()) << "ngspice left no trace (status " << status << "); its words are in "
                         << (folder / (name + ".log"));
  Traces traces(columns);
  std::string line;
  std::getline(in, line);  // names
  while (std::getline(in, line)) {
    std::istringstream row(line);
    double time_s = 0;
    double value = 0;
    row >> time_s;
    for (auto& column : traces) {
      row >> value;
      column.push_back(value);
    }
  }
  return traces;
}

Traces run_ngspice(const RailCase& rail) {
  const std::size_t taps = rail.parameters.harnesses.size();
  const std::size_t return_taps = rail.returns.paths.size();
  Traces traces = run_netlist(rail.name, rail_netlist(rail), 1 + taps + return_taps);
  for (std::size_t i = 0; i < return_taps; ++i) {
    for (std::size_t row = 0; row < traces[0].size(); ++row) traces[1 + i][row] -= traces[1 + taps + i][row];
  }
  return traces;
}

Traces run_ngspice(const std::string& name, const GroupParameters& group, const LoadLine& load_12v,
                   const LoadLine& load_5v, std::size_t scans) {
  return run_netlist(name, group_netlist(name, group, load_12v, load_5v, static_cast<double>(scans) * kScan), 2);
}

double worst_mv(const std::vector<double>& left, const std::vector<double>& right) {
  EXPECT_EQ(left.size(), right.size());
  double worst = 0;
  for (std::size_t i = 0; i < std::min(left.size(), right.size()); ++i) {
    worst = std::max(worst, std::abs(left[i] - right[i]));
  }
  return worst * 1e3;
}

}  // namespace host::simulate
