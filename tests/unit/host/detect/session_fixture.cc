// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/host/detect/session_fixture.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <stdexcept>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "host/detect/arm.h"

namespace host::detect {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

namespace {

struct Made {
  const char* name;
  ChannelKind kind;
  Rail rail;
  const char* connector;
  double per_code;
  double at_code_0;
};

constexpr std::array<Made, kChannels> kMade = {{
    {"graphics-1", CHANNEL_KIND_RAIL_VOLTAGE, RAIL_P12V, "graphics-1", 3e-4, 9.8},
    {"main-12v", CHANNEL_KIND_RAIL_VOLTAGE, RAIL_P12V, "main", 3e-4, 9.8},
    {"main-5v", CHANNEL_KIND_RAIL_VOLTAGE, RAIL_P5V, "main", 3e-4, 9},
    {"standby-5v", CHANNEL_KIND_RAIL_VOLTAGE, RAIL_P5VSB, "main", 3e-4, 9},
    {"pwr-ok", CHANNEL_KIND_LOGIC, RAIL_UNKNOWN, "main", 3e-4, 9},
    {"ps-on", CHANNEL_KIND_LOGIC, RAIL_UNKNOWN, "main", 3e-4, 9},
    {"current-graphics-1", CHANNEL_KIND_CURRENT, RAIL_P12V, "graphics-1", 5e-3, 0},
}};

}  // namespace

JigDescription test_jig(double noise_codes, bool calibrated) {
  JigDescription jig;
  jig.set_id("J-01");
  jig.set_scan_rate_hz(32000);
  jig.mutable_calibration()->set_id("CAL-1");
  for (std::size_t i = 0; i < kChannels; ++i) {
    auto* channel = jig.add_channels();
    channel->set_index(static_cast<std::uint32_t>(i));
    channel->set_name(kMade[i].name);
    channel->set_kind(kMade[i].kind);
    channel->set_rail(kMade[i].rail);
    channel->set_connector(kMade[i].connector);
    channel->set_input(fmt::format("m.{}", i));
    channel->set_unit_per_code(kMade[i].per_code);
    channel->set_unit_at_code_0(kMade[i].at_code_0);
    channel->add_pole_hz(14200);
    channel->add_pole_hz(14200);
    channel->set_noise_code_rms(noise_codes);
    if (i == kGraphics) channel->set_current_channel("current-graphics-1");
    if (!calibrated) continue;
    auto* calibration = jig.mutable_calibration()->add_channels();
    calibration->set_channel(kMade[i].name);
    calibration->set_gain(1);
    calibration->set_u_other(kMade[i].kind == CHANNEL_KIND_CURRENT ? 0.05 : 5e-3);
  }
  return jig;
}

model::Jig test_model(double noise_codes, bool calibrated) {
  auto jig = model::Jig::from_description(test_jig(noise_codes, calibrated), "test");
  if (!jig) throw std::logic_error(model::to_string(jig.error()));
  return *jig;
}

LimitSet test_limits(double least_12, std::string edition) {
  LimitSet limits;
  limits.set_edition(std::move(edition));
  limits.set_document("test guide");
  const auto add = [&](Rail rail, double least, double most) {
    auto* row = limits.add_regulation();
    row->set_rail(rail);
    row->set_least_uv(std::llround(least * 1e6));
    row->set_most_uv(std::llround(most * 1e6));
    row->set_status(LIMIT_STATUS_READ);
    row->set_table("Table 1");
  };
  add(RAIL_P12V, least_12, 12.60);
  add(RAIL_P5V, 4.75, 5.25);
  add(RAIL_P5VSB, 4.75, 5.25);
  return limits;
}

RecordingHeader test_header(const std::string& armed_edition, const JigDescription& jig) {
  RecordingHeader header;
  *header.mutable_jig() = jig;
  header.set_edition(armed_edition);
  return header;
}

Levels::Levels(std::size_t scans) {
  constexpr std::array<double, kChannels> kUsual = {12, 12, 5, 5, 5, 0.1, 5};
  for (std::size_t i = 0; i < kChannels; ++i) levels_[i].assign(scans, kUsual[i]);
}

void Levels::set(std::size_t channel, std::size_t from, std::size_t to, double level) {
  std::fill(levels_[channel].begin() + static_cast<std::ptrdiff_t>(from),
            levels_[channel].begin() + static_cast<std::ptrdiff_t>(to), level);
}

std::int16_t Levels::code(std::size_t channel, std::size_t scan) const {
  const double code = std::round((levels_[channel][scan] - kMade[channel].at_code_0) / kMade[channel].per_code);
  return static_cast<std::int16_t>(std::clamp(code, -32768.0, 32767.0));
}

void Levels::windows(decode::Sink& sink, std::size_t from, std::size_t to, std::uint64_t origin,
                     std::uint32_t scans_per_window, std::uint32_t armed_set, const LimitSet* armed) const {
  Arm arm;
  if (armed != nullptr) arm = arm_limits(test_model(), armed);
  auto decoded = std::make_unique<wire::DecodedWindows>();
  for (std::size_t at = from; at + scans_per_window <= to;) {
    decode::WindowBatch batch;
    batch.first_scan = origin + at;
    batch.scans_per_window = scans_per_window;
    batch.armed_set = armed_set;
    batch.windows = decoded.get();
    *decoded = wire::DecodedWindows{};
    for (; batch.window_count < wire::kWindowsPerBlock && at + scans_per_window <= to; at += scans_per_window) {
      const std::uint32_t w = batch.window_count++;
      for (std::size_t channel = 0; channel < kChannels; ++channel) {
        auto& columns = decoded->channels[channel];
        double sum = 0, squares = 0;
        columns.min[w] = columns.max[w] = code(channel, at);
        for (std::size_t scan = at; scan < at + scans_per_window; ++scan) {
          const std::int16_t c = code(channel, scan);
          columns.min[w] = std::min(columns.min[w], c);
          columns.max[w] = std::max(columns.max[w], c);
          sum += c;
          squares += static_cast<double>(c) * c;
          if (c == INT16_MIN || c == INT16_MAX) batch.clipped_mask |= 1U << channel;
          for (const auto& limit : arm.limits()) {
            if (limit.channel() != channel) continue;
            if (limit.side() == SIDE_LOW && c < limit.code()) ++columns.below[w];
            if (limit.side() == SIDE_HIGH && c > limit.code()) ++columns.above[w];
          }
        }
        columns.mean_8[w] = static_cast<std::int32_t>(std::lround(8 * sum / scans_per_window));
        columns.variance[w] = static_cast<float>(squares / scans_per_window - std::pow(sum / scans_per_window, 2));
      }
    }
    decoded->window_count = batch.window_count;
    sink.windows(batch);
  }
}

void Levels::capture(decode::Sink& sink, std::size_t from, std::size_t to, std::size_t trigger, CaptureCause cause,
                     std::uint32_t id) const {
  std::array<std::uint8_t, kChannels> channels{};
  for (std::size_t i = 0; i < kChannels; ++i) channels[i] = static_cast<std::uint8_t>(i);
  std::vector<std::array<std::int16_t, wire::kCaptureScansMax>> codes(kChannels);
  for (std::size_t at = from; at < to; at += wire::kCaptureScansMax) {
    decode::CaptureBatch batch;
    batch.capture = id;
    batch.cause = cause;
    batch.trigger_scan = trigger;
    batch.first_scan = at;
    batch.scan_count = static_cast<std::uint32_t>(std::min<std::size_t>(wire::kCaptureScansMax, to - at));
    batch.remaining = static_cast<std::uint32_t>((to - at - 1) / wire::kCaptureScansMax);
    for (std::size_t channel = 0; channel < kChannels; ++channel) {
      for (std::uint32_t i = 0; i < batch.scan_count; ++i) codes[channel][i] = code(channel, at + i);
    }
    batch.channels = channels;
    batch.codes = codes;
    sink.capture(batch);
  }
}

Event load_step(std::uint64_t scan, double amps, std::uint32_t id) {
  Event event;
  auto* step = event.mutable_load_step();
  step->set_channel(kGraphicsA);
  step->set_scan(scan);
  step->set_step_code_16(static_cast<int>(std::lround(amps / 5e-3 * 16)));
  step->set_t50_offset_256(128 * 256);
  step->set_step_id(id);
  return event;
}

const Verdict& verdict_of(const SessionResult& result, const std::string& channel, Quantity quantity) {
  static const Verdict kNone;
  for (const Verdict& verdict : result.verdicts()) {
    if (verdict.channel() == channel && verdict.quantity() == quantity) return verdict;
  }
  ADD_FAILURE() << "no verdict of " << channel;
  return kNone;
}

EventCount count_of(const SessionResult& result, EventKind kind, const std::string& channel) {
  for (const EventCount& count : result.event_counts()) {
    if (count.kind() == kind && count.channel() == channel) return count;
  }
  return {};
}

std::vector<EventResult> events_of(const SessionResult& result, EventKind kind) {
  std::vector<EventResult> events;
  for (const EventResult& event : result.events()) {
    if (event.kind() == kind) events.push_back(event);
  }
  return events;
}

}  // namespace host::detect
