// SPDX-License-Identifier: Apache-2.0
#include "host/app/comparison.h"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/app/configure.h"
#include "host/app/judging.h"
#include "host/app/nearest.h"
#include "host/calibrate/meter.h"
#include "host/link/host_clock.h"
#include "host/model/day.h"
#include "host/model/named_text.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr double kColdest = -20;
constexpr double kHottest = 60;

/// A role, never a name: certificates go to strangers.
bool is_role(const std::string& role) {
  const auto digit = [](char c) { return c >= '0' && c <= '9'; };
  return role.size() > 3 && role.starts_with("op-") && std::ranges::all_of(role.substr(3), digit);
}

std::expected<std::vector<std::string>, std::string> channels_of(const ComparisonOptions& options,
                                                                 const model::Jig& jig) {
  std::vector<std::string> known;
  for (const model::JigChannel& channel : jig.channels()) {
    if (calibrate::comparable(channel)) known.push_back(channel.name);
  }
  for (const std::string& name : options.channels) {
    if (std::ranges::find(known, name) == known.end()) return std::unexpected(unknown_word("channel", name, known));
  }
  if (options.channels.empty()) return known;
  std::erase_if(known, [&](const std::string& name) {
    return std::ranges::find(options.channels, name) == options.channels.end();
  });
  return known;
}

std::string instruction(const calibrate::Step& step) {
  const std::string where = fmt::format("{}", fmt::join(step.channels, ", "));
  if (step.direction == "zero-cold") return where + ": no current, everything warm by its own supply only";
  if (step.direction == "zero-warm") return where + ": no current again, at once after the last point";
  const bool amps = step.unit == "A";
  return fmt::format("{}: set about {:.3g} {}, coming from {}{}; meter at the {} itself", where, step.target, step.unit,
                     step.direction == "up" ? "below" : "above", amps ? ", wait until the shunt is warm" : "",
                     amps ? "conductor" : "tap");
}

}  // namespace

std::expected<Compared, std::string> load_comparison(const ComparisonOptions& options) {
  if (!is_role(options.role)) {
    return std::unexpected(fmt::format("--role {}: a role as op-1, never a name", options.role));
  }
  if (!(options.temperature_c >= kColdest && options.temperature_c <= kHottest)) {
    return std::unexpected(
        fmt::format("--temperature {}: degrees Celsius, {} to {}", options.temperature_c, kColdest, kHottest));
  }
  auto jig = load_jig(options.jig);
  if (!jig) return std::unexpected(jig.error());
  const auto text = model::named_text("meters", options.meter);
  if (!text) return std::unexpected(model::to_string(text.error()));
  auto meter = calibrate::meter_from_text(text->text, text->file);
  if (!meter) return std::unexpected(model::to_string(meter.error()));
  auto channels = channels_of(options, *jig);
  if (!channels) return std::unexpected(channels.error());
  Compared out{std::move(*jig), std::move(*meter), {}, std::move(*channels)};
  if (options.readings.empty()) return out;
  const auto file = model::read_file(options.readings);
  if (!file) return std::unexpected(model::to_string(file.error()));
  auto readings = calibrate::read_readings(*file, options.readings);
  if (!readings) return std::unexpected(model::to_string(readings.error()));
  out.readings = std::move(*readings);
  return out;
}

link::SessionOptions line_of(const ComparisonOptions& options, const model::Jig& jig, const Interrupt& interrupt) {
  link::SessionOptions line;
  line.port = options.port;
  line.settings.baud = options.baud;
  line.configure = configuration(jig, options.baud);
  line.jig_id = jig.description().id();
  line.stop = interrupt.token();
  line.times.reconnect_for = std::chrono::milliseconds(0);
  return line;
}

std::expected<Told, std::string> Guide::ask(const calibrate::Step& step, std::size_t number, std::size_t count) {
  if (!readings_.empty()) {
    if (next_ >= readings_.size()) return Told{};
    const calibrate::TypedReading& row = readings_[next_++];
    if (std::ranges::find(step.channels, row.channel) == step.channels.end()) {
      return std::unexpected(fmt::format("{}:{}:1: a reading of {}, where the programme is at {}", file_, row.line,
                                         row.channel, fmt::join(step.channels, ", ")));
    }
    return Told{Reply::kReading, row.reference};
  }
  for (;;) {  // ends with an answer or the input
    terminal_.say(fmt::format("[{} of {}] {}. The meter reads, in {} (or again, skip, stop):", number, count,
                              instruction(step), step.unit));
    const auto line = input_.next();
    if (!line || *line == "stop") return Told{};
    if (*line == "again") return Told{Reply::kAgain, 0};
    if (*line == "skip") return Told{Reply::kSkip, 0};
    const auto value = calibrate::typed_number(*line);
    if (value) return Told{Reply::kReading, *value};
    terminal_.say(value.error());
  }
}

std::string today() {
  return model::day_text(model::day_of(link::RealClock().now()));
}

}  // namespace host::app
