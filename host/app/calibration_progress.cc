// SPDX-License-Identifier: Apache-2.0
#include "host/app/calibration_progress.h"

#include <algorithm>
#include <filesystem>
#include <map>

#include <fmt/format.h>
#include <google/protobuf/text_format.h>
#include <google/protobuf/util/message_differencer.h>

#include "host/app/outputs.h"
#include "host/model/day.h"
#include "host/model/text.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr const char* kHead =
    "# SPDX-License-Identifier: Apache-2.0\n"
    "# A calibration under way: 'steadyrail calibrate' reads this file and goes on where it stands. To begin anew, "
    "remove "
    "it.\n";

/// What differs from the sitting before; empty: nothing that matters.
std::string changed(const proto::CalibrationProgress& before, const proto::CalibrationProgress& now) {
  using google::protobuf::util::MessageDifferencer;
  if (before.jig_id() != now.jig_id())
    return fmt::format("was begun with jig {}, not {}", before.jig_id(), now.jig_id());
  if (before.simulated() != now.simulated()) return "was begun with a simulated jig, or this one is simulated";
  if (!MessageDifferencer::Equals(before.meter(), now.meter())) {
    return fmt::format("was begun with meter {} as described then", before.meter().id());
  }
  if (before.role() != now.role()) return fmt::format("was begun by {}, not {}", before.role(), now.role());
  if (before.class_share() != now.class_share()) return "was begun for another class";
  if (before.together() != now.together() || !std::ranges::equal(before.channels(), now.channels())) {
    return "was begun for other channels, or with --together and without";
  }
  return {};
}

/// Points by channel still to be matched with stops.
std::map<std::string, int> points_by_channel(const proto::CalibrationProgress& progress) {
  std::map<std::string, int> out;
  for (const proto::CalibrationPoint& point : progress.points()) ++out[point.channel()];
  return out;
}

bool skipped(const calibrate::Step& step, const proto::CalibrationProgress& progress) {
  return std::ranges::all_of(step.channels, [&](const std::string& channel) {
    return std::ranges::find(progress.skipped(), channel) != progress.skipped().end();
  });
}

}  // namespace

std::expected<proto::CalibrationProgress, std::string> resume(const std::string& path,
                                                              const proto::CalibrationProgress& fresh) {
  std::error_code code;
  if (!std::filesystem::exists(path, code)) return fresh;
  const auto text = model::read_file(path);
  if (!text) return std::unexpected(model::to_string(text.error()));
  proto::CalibrationProgress out;
  if (auto parsed = model::parse_text(*text, path, out); !parsed)
    return std::unexpected(model::to_string(parsed.error()));
  if (!model::day_of(out.started())) return std::unexpected(path + ": is no calibration under way: it has no date");
  if (const std::string what = changed(out, fresh); !what.empty()) {
    return std::unexpected(
        fmt::format("{}: the calibration {}; name another --progress to begin a new one", path, what));
  }
  return out;
}

std::expected<void, std::string> save(const std::string& path, const proto::CalibrationProgress& progress) {
  std::string text;
  google::protobuf::TextFormat::Printer printer;
  if (!printer.PrintToString(progress, &text)) return std::unexpected(path + ": cannot be put into words");
  return write_file(path, kHead + text);
}

std::vector<calibrate::Step> steps_left(const std::vector<calibrate::Step>& steps,
                                        const proto::CalibrationProgress& progress) {
  std::map<std::string, int> points = points_by_channel(progress);
  std::vector<calibrate::Step> out;
  for (const calibrate::Step& step : steps) {
    if (skipped(step, progress)) continue;
    bool taken = true;
    for (const std::string& channel : step.channels) taken = points[channel]-- > 0 && taken;
    if (!taken) out.push_back(step);
  }
  return out;
}

bool take_back(const std::vector<calibrate::Step>& steps, proto::CalibrationProgress& progress) {
  if (progress.points().empty()) return false;
  const std::string last = progress.points(progress.points_size() - 1).channel();
  const auto step = std::ranges::find_if(
      steps, [&](const calibrate::Step& one) { return std::ranges::find(one.channels, last) != one.channels.end(); });
  const int count = step == steps.end() ? 1 : static_cast<int>(step->channels.size());
  for (int i = 0; i < count && !progress.points().empty(); ++i) progress.mutable_points()->RemoveLast();
  return true;
}

}  // namespace host::app
