// SPDX-License-Identifier: Apache-2.0
#include "host/label/power.h"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <utility>

#include "host/model/jig.h"

namespace host::label {
namespace {

using steadyrail::proto::CombinedLimit;
using steadyrail::proto::Rail;
using steadyrail::proto::RailRating;
using steadyrail::proto::Unit;

using RailSet = std::uint32_t;  // bit = 1 << rail

RailSet set_of(const CombinedLimit& limit) {
  RailSet set = 0;
  for (const int rail : limit.rails()) set |= RailSet{1} << rail;
  return set;
}

// Rails that share their most: as sets grow from one rail to all, each limit either swallows a group or leaves it
// alone.
struct Group {
  RailSet rails;
  double watts_max;
};

}  // namespace

double rail_volts(Rail rail) {
  return std::abs(model::rail_nominal_v(rail));
}

const RailRating* find_rail(const Unit& unit, Rail rail) {
  const auto found = std::ranges::find(unit.rails(), rail, &RailRating::rail);
  return found == unit.rails().end() ? nullptr : &*found;
}

double rail_amps(const RailRating& rating) {
  if (rating.has_amps()) return rating.amps();
  double sum = 0;
  for (const auto& sub_rail : rating.sub_rails()) sum += sub_rail.amps();
  return sum;
}

RailWatts full_amps_watts(const Unit& unit) {
  RailWatts watts{};
  for (const RailRating& rating : unit.rails()) watts[rating.rail()] = rail_volts(rating.rail()) * rail_amps(rating);
  return watts;
}

double most_together(const RailWatts& watts, const google::protobuf::RepeatedPtrField<CombinedLimit>& limits,
                     std::vector<int>* crossing) {
  RailSet present = 0;
  std::vector<Group> groups;
  for (const Rail rail : kRailOrder) {
    if (watts[rail] <= 0) continue;
    present |= RailSet{1} << rail;
    groups.push_back({RailSet{1} << rail, watts[rail]});
  }
  std::vector<int> order(limits.size());
  for (int index = 0; index < limits.size(); ++index) order[index] = index;
  std::ranges::sort(order, {},
                    [&](int index) { return std::pair(std::popcount(set_of(limits[index]) & present), index); });
  for (const int index : order) {
    const RailSet set = set_of(limits[index]) & present;
    if (set == 0) continue;
    const bool crosses = std::ranges::any_of(
        groups, [&](const Group& group) { return (group.rails & set) != 0 && (group.rails & ~set) != 0; });
    if (crosses) {
      if (crossing != nullptr) crossing->push_back(index);
      continue;
    }
    double sum = 0;
    for (const Group& group : groups) sum += (group.rails & set) != 0 ? group.watts_max : 0;
    std::erase_if(groups, [&](const Group& group) { return (group.rails & set) != 0; });
    groups.push_back({set, std::min(sum, limits[index].watts())});
  }
  double total = 0;
  for (const Group& group : groups) total += group.watts_max;
  return total;
}

std::optional<double> left_for_12v(const Unit& unit) {
  if (!unit.has_total_w() || find_rail(unit, steadyrail::proto::RAIL_P12V) == nullptr) return std::nullopt;
  const RailWatts full = full_amps_watts(unit);
  RailWatts others = full;
  others[steadyrail::proto::RAIL_P12V] = 0;
  double left = std::min(full[steadyrail::proto::RAIL_P12V], unit.total_w() - most_together(others, unit.combined()));
  for (const CombinedLimit& limit : unit.combined()) {
    const RailSet set = set_of(limit);
    if ((set & (RailSet{1} << steadyrail::proto::RAIL_P12V)) == 0) continue;
    RailWatts inside = others;
    for (const Rail rail : kRailOrder) {
      if ((set & (RailSet{1} << rail)) == 0) inside[rail] = 0;
    }
    left = std::min(left, limit.watts() - most_together(inside, unit.combined()));
  }
  return std::max(left, 0.0);
}

std::string number(double value) {
  std::string text = fmt::format("{:.2f}", value);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text == "-0" ? "0" : text;
}

std::string times_line(double volts, double amps) {
  return fmt::format("{} V x {} A = {} W", number(volts), number(amps), number(volts * amps));
}

}  // namespace host::label
