// SPDX-License-Identifier: Apache-2.0
#include "host/label/demand.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "host/label/power.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

/// Amperes at the plugs of one draw, efficiency taken in.
double amps_of(const proto::Draw& draw, double duration_s) {
  const double base = draw.has_watts() ? draw.watts() : draw.amps();
  double most = base;
  for (const proto::DrawExcursion& one : draw.excursions()) {
    if (one.duration_s() < duration_s) continue;
    const double level = one.has_percent() ? base * one.percent() / 100 : one.has_watts() ? one.watts() : one.amps();
    most = std::max(most, level);
  }
  const double at_plug = most / (draw.has_efficiency() ? draw.efficiency() : 1);
  return draw.has_watts() ? at_plug / rail_volts(draw.rail()) : at_plug;
}

}  // namespace

std::vector<PlugLoad> loads(const proto::System& system, double duration_s) {
  std::vector<PlugLoad> out;
  for (const proto::SystemCable& cable : system.cables()) {
    for (const proto::Plug& plug : cable.plugs()) out.push_back({plug.name(), cable.socket(), plug.kind(), {}});
  }
  for (const proto::Part& part : system.parts()) {
    const double count = part.has_count() ? part.count() : 1;
    for (const proto::Draw& draw : part.draws()) {
      double given = 0;
      int open = 0;
      for (const proto::Inlet& inlet : draw.inlets()) {
        given += inlet.share();
        open += inlet.has_share() ? 0 : 1;
      }
      const double amps = count * amps_of(draw, duration_s);
      for (const proto::Inlet& inlet : draw.inlets()) {
        const auto plug = std::ranges::find(out, inlet.plug(), &PlugLoad::plug);
        if (plug != out.end())
          plug->amps[draw.rail()] += amps * (inlet.has_share() ? inlet.share() : (1 - given) / open);
      }
    }
  }
  return out;
}

std::vector<double> durations(const proto::System& system) {
  std::set<double> all;
  for (const proto::Part& part : system.parts()) {
    for (const proto::Draw& draw : part.draws()) {
      for (const proto::DrawExcursion& one : draw.excursions()) all.insert(one.duration_s());
    }
  }
  return {all.begin(), all.end()};
}

}  // namespace host::label
