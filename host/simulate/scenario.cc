// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/scenario.h"

#include <array>

#include "host/simulate/supply_parameters.h"

namespace host::simulate {
namespace {

using Change = void (*)(SupplyParameters& supply);

struct Entry {
  Scenario scenario;
  Change change;
};

constexpr auto kEntries = std::to_array<Entry>({
    {{"healthy", "A sound supply, sound cables and a PC that plays a game."}, [](SupplyParameters&) {}},
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
