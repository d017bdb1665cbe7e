// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/scenario.h"

#include <array>
#include <numbers>

#include "host/simulate/supply_parameters.h"

namespace host::simulate {
namespace {

using Change = void (*)(SupplyParameters& supply);

struct Entry {
  Scenario scenario;
  Change change;
};

void tired_capacitors(SupplyParameters& supply) {
  supply.rails.p12v.bulk_farad = 3000e-6;
  supply.rails.p12v.bulk_esr_ohm = 25e-3;
  supply.mains_residue_v = 0.015;
}

void weak_12v(SupplyParameters& supply) {
  supply.rails.p12v.limit_a = 42;
  supply.rails.p12v.droop_ohm = 3e-3;
}

void standby_loss(SupplyParameters& supply) {
  supply.rails.p5vsb.limit_a = 1.6;
  supply.load.standby_burst_amps = 1.3;
  supply.load.standby_burst_most_s = 0.02;
}

void overvoltage(SupplyParameters& supply) {
  supply.drift = {.begin_s = 3, .full_s = 6, .share = 0.065};
}

void group_regulated(SupplyParameters& supply) {
  GroupParameters group;
  group.ohm_12v = 20e-3;
  group.ohm_5v = 12e-3;
  group.henry_12v = 8e-6;
  group.henry_5v = 3e-6;
  group.farad_12v = 4000e-6;
  group.farad_5v = 5000e-6;
  group.esr_12v_ohm = 15e-3;
  group.esr_5v_ohm = 10e-3;
  group.integral_per_s = 2 * std::numbers::pi * 80;
  group.harnesses_12v = supply.rails.p12v.harnesses;
  group.harnesses_5v = supply.rails.p5v.harnesses;
  supply.rails.group = group;
}

void overload(SupplyParameters& supply) {
  supply.load.graphics_scale = 1.9;
}

void overcurrent_trip(SupplyParameters& supply) {
  supply.rails.p12v.limit_a = 95;
  supply.load.graphics_scale = 2.4;
}

void loose_connector(SupplyParameters& supply) {
  supply.contact = {.tap = k12Graphics1, .ohm = 35e-3, .closed_mean_s = 0, .open_mean_s = 0};
  supply.pc.hang_chance = 0.005;
}

void loose_return(SupplyParameters& supply) {
  supply.rails.returns[kGraphics1].upstream_ohm += 60e-3;
}

void intermittent_contact(SupplyParameters& supply) {
  supply.contact = {.tap = k12Graphics1, .ohm = 35e-3, .closed_mean_s = 2, .open_mean_s = 0.03};
}

void mains_brownout(SupplyParameters& supply) {
  supply.mains = {.hz = 50, .dip_every_s = 4, .dip_least_s = 0.012, .dip_most_s = 0.05, .dip_level_most = 0.5};
  supply.pwr_ok_chatters = true;
}

void pc_freeze(SupplyParameters& supply) {
  supply.pc.freeze_every_s = 8;
}

constexpr auto kEntries = std::to_array<Entry>({
    {{"healthy", "A sound supply, sound cables and a PC that plays a game."}, [](SupplyParameters&) {}},
    {{"tired-capacitors", "Output capacitors of +12 V with half the capacitance and five times the resistance."},
     tired_capacitors},
    {{"weak-12v",
      "+12 V runs into its current limit at three quarters of the label, with three times the output resistance."},
     weak_12v},
    {{"standby-loss", "+5 V standby sags, and now and then collapses, at half of what a sound one carries."},
     standby_loss},
    {{"overvoltage", "The +12 V reference drifts up by 6.5 % in the first seconds and stays there."}, overvoltage},
    {{"group-regulated",
      "+12 V and +5 V share one transformer and one error amplifier, so each moves with the other's load."},
     group_regulated},
    {{"overload", "A sound supply whose PC asks for more +12 V current than the label allows."}, overload},
    {{"overcurrent-trip", "The PC asks for so much that the overcurrent protection switches the supply off."},
     overcurrent_trip},
    {{"loose-connector", "35 milliohms too much in the supply contact of graphics-1."}, loose_connector},
    {{"loose-return", "60 milliohms too much in the return contact of graphics-1."}, loose_return},
    {{"intermittent-contact", "The supply contact of graphics-1 fails for some 30 ms every couple of seconds."},
     intermittent_contact},
    {{"mains-brownout", "The mains dips for 12 to 50 ms every few seconds."}, mains_brownout},
    {{"pc-freeze", "A sound supply whose PC locks up by itself every few seconds."}, pc_freeze},
});

constexpr auto scenario_list() {
  std::array<Scenario, kEntries.size()> list;
  for (std::size_t i = 0; i < list.size(); ++i) list[i] = kEntries[i].scenario;
  return list;
}

constexpr auto kScenarios = scenario_list();

}  // namespace

std::span<const Scenario> scenarios() {
  return kScenarios;
}

std::expected<SupplyParameters, std::string> supply_of(std::string_view scenario) {
  SupplyParameters supply = healthy_supply();
  std::string known;
  for (const Entry& entry : kEntries) {
    if (entry.scenario.name == scenario) {
      entry.change(supply);
      return supply;
    }
    known += known.empty() ? "" : ", ";
    known += entry.scenario.name;
  }
  return std::unexpected("no scenario is named '" + std::string(scenario) + "'; there are: " + known);
}

}  // namespace host::simulate
