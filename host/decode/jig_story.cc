// SPDX-License-Identifier: Apache-2.0
#include "host/decode/jig_story.h"

#include <algorithm>

#include <fmt/core.h>

namespace host::decode {
namespace {

namespace proto = steadyrail::proto;

std::string at_place(const proto::Status& status, const char* what) {
  return status.has_safety_detail() ? fmt::format("{} {}", what, status.safety_detail()) : fmt::format("a {}", what);
}

}  // namespace

std::string safety_words(const proto::Status& status) {
  switch (status.safety_cause()) {
    case proto::SAFETY_CAUSE_NONE:
      return "";
    case proto::SAFETY_CAUSE_HOST_SILENT:
      return "the jig heard nothing from this program for too long";
    case proto::SAFETY_CAUSE_MODE_LINK_MOVED:
      return "the keyed mode link was moved or taken out";
    case proto::SAFETY_CAUSE_LOAD_STUCK_ON:
      return at_place(status, "load gate") +
             " is off and its branch still draws current: a switch failed short; switch the supply off at the outlet";
    case proto::SAFETY_CAUSE_OVER_TEMPERATURE:
      return "a connector is too hot";
    case proto::SAFETY_CAUSE_FAN_OR_THERMAL:
      return "a fan of the load bank or its thermal cut-out spoke";
    case proto::SAFETY_CAUSE_ON_TIME_LIMIT:
      return at_place(status, "load gate") + " was on for as long as its branch stands";
    case proto::SAFETY_CAUSE_CONVERTER_LOST:
      return "samples stopped: a converter does not answer";
    case proto::SAFETY_CAUSE_OVERRUN:
      return "the jig could not keep up with its samples";
    case proto::SAFETY_CAUSE_OVER_RANGE:
      return at_place(status, "channel") + " was beyond the converter's range for 100 ms";
    case proto::SAFETY_CAUSE_STACK:
      return "the jig's program ran out of stack";
    case proto::SAFETY_CAUSE_ENERGY_LIMIT:
      return "the load bank holds as much energy as it may";
    default:
      return fmt::format("safety cause {}, which this program does not know", static_cast<int>(status.safety_cause()));
  }
}

std::string reset_words(std::uint32_t reset_cause) {
  switch (reset_cause) {
    case proto::RESET_CAUSE_UNKNOWN:
    case proto::RESET_CAUSE_POWER_ON:
    case proto::RESET_CAUSE_PIN:
      return "";
    case proto::RESET_CAUSE_WATCHDOG:
      return "its watchdog reset it: the program had stopped";
    case proto::RESET_CAUSE_SOFTWARE:
      return "its own program reset it";
    case proto::RESET_CAUSE_FAULT:
      return "a fault of its processor reset it";
    default:
      return fmt::format("reset cause {}, which this program does not know", reset_cause);
  }
}

void JigStory::take(const proto::Status& status, double scan_rate_hz) {
  const double at_s = static_cast<double>(status.scan()) / scan_rate_hz;
  if (!boot_told_) {
    boot_told_ = true;
    const std::string words = reset_words(status.reset_cause());
    if (!words.empty() && told_.size() < kToldMost) {
      told_.push_back(fmt::format("the jig began anew before {:.3f} s: {}", at_s, words));
    }
  }
  if (status.safety_cause() == standing_) return;
  standing_ = status.safety_cause();
  const std::string words = safety_words(status);
  if (words.empty() || told_.size() >= kToldMost) return;
  const char* const done = status.mode() == proto::JIG_MODE_BENCH ? "; load gates are off and PS_ON# is released" : "";
  told_.push_back(fmt::format("safety cause at {:.3f} s: {}{}", at_s, words, done));
}

void JigStory::take(const proto::Event& event) {
  if (event.has_edge()) edges_untold_ += event.edge().untold();
}

void JigStory::take(const proto::RampBlock& ramp) {
  const std::pair key{boots_, ramp.ramp()};
  const auto known = points_left_.find(key);
  if (known != points_left_.end()) {
    known->second = std::min(known->second, ramp.points_left());
  } else if (points_left_.size() < kRampsMost) {
    points_left_.emplace(key, ramp.points_left());
  }
}

void JigStory::restarted() {
  ++boots_;
  boot_told_ = false;
  standing_ = proto::SAFETY_CAUSE_NONE;
}

std::vector<std::string> JigStory::remarks() const {
  std::vector<std::string> words = told_;
  if (edges_untold_ != 0) {
    words.push_back(
        fmt::format("{} edge{} of load gates {} not told one by one: the load programme says where they lie",
                    edges_untold_, edges_untold_ == 1 ? "" : "s", edges_untold_ == 1 ? "was" : "were"));
  }
  if (!points_left_.empty()) {
    const auto cut = std::ranges::count_if(points_left_, [](const auto& ramp) { return ramp.second != 0; });
    const std::size_t ramps = points_left_.size();
    words.push_back(
        fmt::format("{} ramp{} of a start {} in the recording, {} of them cut short; nothing is judged by them", ramps,
                    ramps == 1 ? "" : "s", ramps == 1 ? "is" : "are", cut));
  }
  return words;
}

}  // namespace host::decode
