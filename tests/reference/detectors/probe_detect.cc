// SPDX-License-Identifier: Apache-2.0
// The detectors as the other program may ask for them. Numbers stand in the order in which they are read here.
#include <cmath>

#include "host/detect/droop.h"
#include "host/detect/excursion.h"
#include "host/detect/load_step.h"
#include "host/detect/sag.h"
#include "tests/reference/detectors/probe_request.h"

namespace reference {
namespace {

using namespace host;

judge::Side side_of(double number) {
  return number > 0 ? judge::Side::kHigh : judge::Side::kLow;
}

// High side (0, 1), limit, release, keep (not finite: none), merge, least; first scans of the runs; then a run each.
JsonObject excursions(const Request& request) {
  const auto& n = request.numbers;
  detect::ExcursionRule rule;
  rule.side = side_of(n.at(0));
  rule.limit = static_cast<std::int32_t>(n.at(1));
  rule.release = static_cast<std::int32_t>(n.at(2));
  if (std::isfinite(n.at(3))) rule.keep = static_cast<std::int32_t>(n.at(3));
  rule.merge_scans = static_cast<std::uint32_t>(n.at(4));
  rule.least_scans = static_cast<std::uint32_t>(n.at(5));
  detect::ExcursionTracker tracker(rule);
  for (std::size_t run = 1; run < request.arrays.size(); ++run) {
    const auto& levels = request.arrays[run];
    const std::vector<std::int32_t> whole(levels.begin(), levels.end());
    tracker.feed(static_cast<std::uint64_t>(request.arrays[0].at(run - 1)), whole);
  }
  tracker.cut();
  std::vector<JsonObject> events;
  for (const detect::ScanExcursion& event : tracker.take()) {
    events.push_back(JsonObject()
                         .number("start", static_cast<double>(event.start))
                         .number("end", static_cast<double>(event.end))
                         .number("extreme", event.extreme)
                         .number("at", static_cast<double>(event.at))
                         .number("area", static_cast<double>(event.area))
                         .number("beyond", event.beyond)
                         .truth("truncated", event.truncated));
  }
  return JsonObject().objects("events", events).number("dropped", static_cast<double>(tracker.dropped()));
}

// Scan rate, scans of one level; least and mean of each level.
JsonObject sags(const Request& request) {
  detect::SagTracker tracker(request.numbers.at(0));
  const auto scans = static_cast<std::uint32_t>(request.numbers.at(1));
  std::vector<JsonObject> found;
  const auto keep = [&](const std::optional<detect::ScanSag>& sag) {
    if (!sag) return;
    found.push_back(JsonObject()
                        .number("start", static_cast<double>(sag->start))
                        .number("end", static_cast<double>(sag->end))
                        .number("reference", sag->reference)
                        .number("least", sag->least)
                        .number("at", static_cast<double>(sag->at))
                        .number("depth", sag->depth())
                        .truth("truncated", sag->truncated)
                        .truth("new_level", sag->new_level));
  };
  for (std::size_t k = 0; k < request.arrays.at(0).size(); ++k)
    keep(tracker.add(k * scans, scans, request.arrays[0][k], request.arrays.at(1).at(k)));
  keep(tracker.cut());
  return JsonObject().objects("sags", found).number("reference", tracker.reference());
}

// Least step, noise of one sample, samples averaged, gap; the current.
JsonObject steps(const Request& request) {
  const auto& n = request.numbers;
  const detect::StepRule rule{.least = n.at(0),
                              .sigma = n.at(1),
                              .span = static_cast<std::uint32_t>(n.at(2)),
                              .gap = static_cast<std::uint32_t>(n.at(3))};
  std::vector<JsonObject> found;
  for (const detect::ScanStep& step : detect::find_steps(request.arrays.at(0), rule)) {
    found.push_back(JsonObject()
                        .number("at", static_cast<double>(step.at))
                        .number("step", step.step)
                        .number("t10", step.t10)
                        .number("t50", step.t50)
                        .number("t90", step.t90)
                        .truth("slew_is_bound", step.slew_is_bound)
                        .number("slew", detect::slew(step, 32000)));
  }
  return JsonObject().objects("steps", found).number("sigma", detect::difference_sigma(rule));
}

// Step, next step, rising (0, 1), band; the voltage.
JsonObject droop(const Request& request) {
  const auto& n = request.numbers;
  const auto found = detect::measure_droop(request.arrays.at(0), static_cast<std::uint64_t>(n.at(0)),
                                           static_cast<std::uint64_t>(n.at(1)), n.at(2) > 0, n.at(3));
  if (!found) return JsonObject();
  return JsonObject()
      .number("before", found->before)
      .number("settled", found->settled)
      .number("extreme", found->extreme)
      .number("extreme_at", static_cast<double>(found->extreme_at))
      .number("deviation", found->deviation)
      .number("shift", found->shift)
      .number("undershoot", found->undershoot)
      .number("minimum_scans", static_cast<double>(found->minimum_scans))
      .number("recovery_scans", static_cast<double>(found->recovery_scans));
}

}  // namespace

std::optional<JsonObject> answer_detect(const Request& request) {
  if (request.word == "excursions") return excursions(request);
  if (request.word == "sags") return sags(request);
  if (request.word == "steps") return steps(request);
  if (request.word == "droop") return droop(request);
  return std::nullopt;
}

}  // namespace reference
