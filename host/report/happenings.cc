// SPDX-License-Identifier: Apache-2.0
#include "host/report/happenings.h"

#include <algorithm>
#include <map>

#include <fmt/format.h>

#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

std::string times(unsigned long long count) {
  return count == 1 ? "once" : counted(count, "time");
}

/// What a fall of PWR_OK looks like from what went first.
std::string sentence(const std::string& first, unsigned long long count) {
  if (first == "PS_ON#") return fmt::format("The supply was switched off by PS_ON# {}", times(count));
  if (first == "mains") return fmt::format("The mains was lost or dipped and PWR_OK went low, {}", times(count));
  if (first == "PWR_OK") {
    return fmt::format("The supply went off by itself {}: PWR_OK fell before anything else did", times(count));
  }
  if (first.ends_with(" too high")) {
    const std::string rail = first.substr(0, first.size() - std::string_view(" too high").size());
    return fmt::format("{} rose above its limit and PWR_OK went low, {}", rail, times(count));
  }
  return fmt::format("{} fell out of regulation and PWR_OK went low, {}", first, times(count));
}

struct Group {
  unsigned long long count = 0;
  const proto::EventResult* earliest = nullptr;
};

void add_losses(const proto::SessionResult& result, std::vector<std::string>& found) {
  unsigned long long losses = 0;
  double shortest_s = 0;
  double longest_s = 0;
  for (const proto::EventResult& event : result.events()) {
    if (event.kind() != proto::EVENT_KIND_MAINS_LOSS) continue;
    shortest_s = losses == 0 ? event.duration_s() : std::min(shortest_s, event.duration_s());
    longest_s = std::max(longest_s, event.duration_s());
    ++losses;
  }
  if (losses == 0) return;
  found.push_back(fmt::format("The mains was lost or dipped {}, for {} to {} each.", times(losses),
                              time_span(shortest_s), time_span(longest_s)));
}

}  // namespace

Happenings happenings(const proto::SessionResult& result) {
  std::map<std::string, Group> groups;
  for (const proto::EventResult& event : result.events()) {
    if (event.kind() != proto::EVENT_KIND_SHUTDOWN) continue;
    Group& group = groups[event.first()];
    ++group.count;
    if (group.earliest == nullptr || event.start_s() < group.earliest->start_s()) group.earliest = &event;
  }
  std::vector<std::pair<std::string, Group>> order(groups.begin(), groups.end());
  // Being switched off is no finding: it comes last.
  std::ranges::stable_sort(order, {}, [](const auto& entry) {
    return std::pair(entry.first == "PS_ON#", -static_cast<long long>(entry.second.count));
  });
  Happenings out;
  for (const auto& [first, group] : order) {
    if (out.headline.empty() && first != "PS_ON#") out.headline = sentence(first, group.count) + ".";
    out.found.push_back(fmt::format("{}. At {}: {}.", sentence(first, group.count), moment(group.earliest->start_s()),
                                    group.earliest->note()));
  }
  add_losses(result, out.found);
  return out;
}

}  // namespace host::report
