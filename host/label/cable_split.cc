// SPDX-License-Identifier: Apache-2.0
#include "host/label/cable_split.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/label/load_case.h"
#include "host/label/plugs.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;

constexpr double kSame = 1e-9;             // margins this near are equal
constexpr double kArrangementsMost = 1e8;  // before any is ruled out: more would take too long

class Search {
 public:
  Search(std::span<const SplitCable> cables, std::span<const std::size_t> sub_rail_of,
         std::span<const std::vector<double>> limits)
      : cables_(cables),
        sub_rail_of_(sub_rail_of),
        limits_(limits),
        used_(sub_rail_of.size()),
        at_(cables.size()),
        load_(limits.size(), std::vector<double>(limits.empty() ? 0 : limits[0].size())) {
    for (std::size_t i = 0; i < cables.size(); ++i) order_.push_back(i);
    // The heaviest first: their arrangement rules out most.
    std::ranges::sort(order_, std::ranges::greater(), [&](std::size_t i) {
      return cables[i].amps.empty() ? 0 : *std::ranges::max_element(cables[i].amps);
    });
    best_.worst_margin = -std::numeric_limits<double>::infinity();
  }

  SplitResult run() {
    place(0, 0);
    return std::move(best_);
  }

 private:
  double worst() const {
    double least = 1;
    for (std::size_t one = 0; one < limits_.size(); ++one) {
      for (std::size_t sub = 0; sub < limits_[one].size(); ++sub) {
        least = std::min(least, 1 - load_[one][sub] / limits_[one][sub]);
      }
    }
    return least;
  }

  void add(std::size_t cable, std::size_t sub, double sign) {
    if (limits_.empty() || sub >= limits_[0].size()) return;
    for (std::size_t one = 0; one < limits_.size(); ++one) load_[one][sub] += sign * cables_[cable].amps[one];
  }

  void place(std::size_t depth, std::size_t moved) {
    const double margin = worst();
    // Cables only add load: what is placed bounds the whole.
    if (margin < best_.worst_margin - kSame) return;
    if (margin <= best_.worst_margin + kSame && moved >= moved_) return;
    if (depth == order_.size()) {
      ++best_.tried;
      best_.worst_margin = margin;
      best_.sockets = at_;
      moved_ = moved;
      return;
    }
    const std::size_t cable = order_[depth];
    std::vector<std::size_t> sub_rails;  // tried: another socket there is no better
    for (const std::size_t socket : cables_[cable].open) {
      if (used_[socket] || std::ranges::find(sub_rails, sub_rail_of_[socket]) != sub_rails.end()) continue;
      sub_rails.push_back(sub_rail_of_[socket]);
      used_[socket] = true;
      at_[cable] = socket;
      const std::vector<std::vector<double>> before = load_;  // what is taken off again must leave no residue
      add(cable, sub_rail_of_[socket], 1);
      place(depth + 1, moved + (socket == cables_[cable].open.front() ? 0 : 1));
      load_ = before;
      used_[socket] = false;
    }
  }

  std::span<const SplitCable> cables_;
  std::span<const std::size_t> sub_rail_of_;
  std::span<const std::vector<double>> limits_;
  std::vector<bool> used_;
  std::vector<std::size_t> at_;
  std::vector<std::vector<double>> load_;
  std::vector<std::size_t> order_;
  std::size_t moved_ = std::numeric_limits<std::size_t>::max();
  SplitResult best_;
};

/// The unit's sockets and sub-rails of +12 V as the search wants them.
struct Layout {
  std::vector<std::string> sockets;
  std::vector<std::size_t> sub_rail_of;
  std::vector<std::string> sub_rails;
  std::vector<double> amps;

  std::string sub_rail(std::size_t socket) const {
    return sub_rail_of[socket] < sub_rails.size() ? sub_rails[sub_rail_of[socket]] : "";
  }
  std::size_t find(const std::string& socket) const {
    return static_cast<std::size_t>(std::ranges::find(sockets, socket) - sockets.begin());
  }
};

Layout layout_of(const proto::Unit& unit, const proto::RailRating& rating) {
  Layout out;
  for (const proto::SubRail& sub : rating.sub_rails()) {
    out.sub_rails.push_back(sub.name());
    out.amps.push_back(sub.amps());
    for (const std::string& socket : sub.connectors()) {
      if (out.find(socket) < out.sockets.size()) continue;  // printed on two sub-rails: the audit says so
      out.sockets.push_back(socket);
      out.sub_rail_of.push_back(out.sub_rails.size() - 1);
    }
  }
  for (const std::string& socket : unit.sockets()) {
    if (out.find(socket) < out.sockets.size()) continue;
    out.sockets.push_back(socket);
    out.sub_rail_of.push_back(static_cast<std::size_t>(rating.sub_rails_size()));
  }
  return out;
}

/// Sockets a cable may take: its own, then those no cable is on, then the others.
std::vector<std::size_t> open_places(const Layout& layout, const proto::System& system,
                                     const proto::SystemCable& cable) {
  std::vector<std::size_t> own;
  std::vector<std::size_t> free;
  std::vector<std::size_t> taken;
  for (std::size_t socket = 0; socket < layout.sockets.size(); ++socket) {
    const std::string& name = layout.sockets[socket];
    if (name == cable.socket()) {
      own.push_back(socket);
    } else if (family_of(name) == family_of(cable.socket())) {
      const bool used = std::ranges::find(system.cables(), name, &proto::SystemCable::socket) != system.cables().end();
      (used ? taken : free).push_back(socket);
    }
  }
  own.insert(own.end(), free.begin(), free.end());
  own.insert(own.end(), taken.begin(), taken.end());
  return own;
}

std::string plugs_of(const proto::SystemCable& cable) {
  std::string names;
  for (const proto::Plug& plug : cable.plugs()) names += (names.empty() ? "" : ", ") + plug.name();
  return names;
}

double worst_of(std::span<const SplitCable> cables, std::span<const std::size_t> sockets,
                std::span<const std::size_t> sub_rail_of, std::span<const std::vector<double>> limits,
                std::size_t* worst_sub = nullptr) {
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t one = 0; one < limits.size(); ++one) {
    for (std::size_t sub = 0; sub < limits[one].size(); ++sub) {
      double amps = 0;
      for (std::size_t i = 0; i < cables.size(); ++i) amps += sub_rail_of[sockets[i]] == sub ? cables[i].amps[one] : 0;
      const double margin = 1 - amps / limits[one][sub];
      if (margin >= least) continue;
      least = margin;
      if (worst_sub != nullptr) *worst_sub = sub;
    }
  }
  return least;
}

}  // namespace

SplitResult best_split(std::span<const SplitCable> cables, std::span<const std::size_t> sub_rail_of,
                       std::span<const std::vector<double>> limits) {
  return Search(cables, sub_rail_of, limits).run();
}

proto::CableSplit split_cables(const proto::Unit& unit, const proto::System& system, const proto::LimitSet* limits) {
  proto::CableSplit out;
  const proto::RailRating* rating = find_rail(unit, proto::RAIL_P12V);
  if (rating == nullptr || rating->sub_rails_size() < 2) {
    out.set_refusal("the label prints one output of +12 V: there is nothing to split");
    return out;
  }
  const Layout layout = layout_of(unit, *rating);
  if (std::ranges::all_of(rating->sub_rails(), [](const proto::SubRail& sub) { return sub.connectors().empty(); })) {
    out.set_refusal("which socket belongs to which sub-rail is not printed");
    return out;
  }
  if (std::pow(rating->sub_rails_size() + 1, system.cables_size()) > kArrangementsMost) {
    out.set_refusal("too many cables and sub-rails to try every arrangement");
    return out;
  }
  const std::vector<LoadCase> cases = load_cases(unit, system, limits);
  std::vector<SplitCable> cables;
  std::vector<std::size_t> now;
  for (const proto::SystemCable& cable : system.cables()) {
    SplitCable& added = cables.emplace_back();
    for (const LoadCase& one : cases) {
      double amps = 0;
      for (const PlugLoad& plug : one.plugs) amps += plug.socket == cable.socket() ? plug.amps[proto::RAIL_P12V] : 0;
      added.amps.push_back(amps);
    }
    added.open = open_places(layout, system, cable);
    const std::size_t place = layout.find(cable.socket());
    if (place < layout.sockets.size()) now.push_back(place);
  }
  std::vector<std::vector<double>> allowed;
  for (const LoadCase& one : cases) {
    std::vector<double>& row = allowed.emplace_back();
    for (const double amps : layout.amps) row.push_back(amps * one.allowed);
  }
  if (now.size() == cables.size()) {
    out.set_worst_margin_percent_now(100 * worst_of(cables, now, layout.sub_rail_of, allowed));
  }
  const SplitResult found = best_split(cables, layout.sub_rail_of, allowed);
  out.set_arrangements_tried(found.tried);
  if (found.sockets.empty()) {
    out.set_refusal("the unit has too few sockets for these cables");
    return out;
  }
  std::size_t worst_sub = 0;
  out.set_worst_margin_percent_proposed(100 * worst_of(cables, found.sockets, layout.sub_rail_of, allowed, &worst_sub));
  out.set_worst_sub_rail_proposed(layout.sub_rails[worst_sub]);
  for (int i = 0; i < system.cables_size(); ++i) {
    const std::size_t to = found.sockets[static_cast<std::size_t>(i)];
    const std::size_t from = layout.find(system.cables(i).socket());
    if (from == to) continue;
    proto::SplitMove& move = *out.add_moves();
    move.set_plugs(plugs_of(system.cables(i)));
    if (from < layout.sockets.size()) {
      move.set_socket_now(layout.sockets[from]);
      move.set_sub_rail_now(layout.sub_rail(from));
    }
    move.set_socket_proposed(layout.sockets[to]);
    move.set_sub_rail_proposed(layout.sub_rail(to));
  }
  return out;
}

}  // namespace host::label
