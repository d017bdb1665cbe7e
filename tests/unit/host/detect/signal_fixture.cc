// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/host/detect/signal_fixture.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <stdexcept>

#include <fmt/format.h>

#include "host/detect/arm.h"

namespace host::detect::signals {

using namespace steadyrail::proto;  // NOLINT: enumerators of the schema

namespace {

constexpr double kPoleHz = 14200;
constexpr int kSteps = 16;  // of the chain in a scan

struct Made {
  const char* name;
  ChannelKind kind;
  Rail rail;
  double per_code;
  double at_code_0;
};
constexpr std::array<Made, kChannels> kMade = {{
    {"main-12v", CHANNEL_KIND_RAIL_VOLTAGE, RAIL_P12V, 4e-4, 9},
    {"main-5v", CHANNEL_KIND_RAIL_VOLTAGE, RAIL_P5V, 3e-4, 5},
    {"main-3v3", CHANNEL_KIND_RAIL_VOLTAGE, RAIL_P3V3, 3e-4, 5},
    {"standby-5v", CHANNEL_KIND_RAIL_VOLTAGE, RAIL_P5VSB, 3e-4, 5},
    {"pwr-ok", CHANNEL_KIND_LOGIC, RAIL_UNKNOWN, 3e-4, 5},
    {"ps-on", CHANNEL_KIND_LOGIC, RAIL_UNKNOWN, 3e-4, 5},
    {"ac-present", CHANNEL_KIND_AC_PRESENT, RAIL_UNKNOWN, 6e-4, 0},
    {"current-main-12v", CHANNEL_KIND_CURRENT, RAIL_P12V, 5e-3, 0},
}};

}  // namespace

JigDescription jig() {
  JigDescription jig;
  jig.set_id("J-01");
  jig.set_scan_rate_hz(static_cast<std::uint32_t>(kRateHz));
  jig.mutable_calibration()->set_id("CAL-1");
  for (std::size_t i = 0; i < kChannels; ++i) {
    auto* channel = jig.add_channels();
    channel->set_index(static_cast<std::uint32_t>(i));
    channel->set_name(kMade[i].name);
    channel->set_kind(kMade[i].kind);
    channel->set_rail(kMade[i].rail);
    channel->set_connector("main");
    channel->set_input(fmt::format("m.{}", i));
    channel->set_unit_per_code(kMade[i].per_code);
    channel->set_unit_at_code_0(kMade[i].at_code_0);
    channel->add_pole_hz(kPoleHz);
    channel->add_pole_hz(kPoleHz);
    if (i == k12) channel->set_current_channel("current-main-12v");
    auto* calibration = jig.mutable_calibration()->add_channels();
    calibration->set_channel(kMade[i].name);
    calibration->set_gain(1);
    calibration->set_u_other(2e-3);
  }
  return jig;
}

LimitSet limits() {
  LimitSet limits;
  limits.set_edition("test-edition");
  limits.set_document("test guide");
  for (const auto& [rail, nominal] :
       {std::pair{RAIL_P12V, 12.0}, {RAIL_P5V, 5.0}, {RAIL_P3V3, 3.3}, {RAIL_P5VSB, 5.0}}) {
    auto* row = limits.add_regulation();
    row->set_rail(rail);
    row->set_least_uv(std::llround(0.95e6 * nominal));
    row->set_most_uv(std::llround(1.05e6 * nominal));
    row->set_status(LIMIT_STATUS_READ);
    row->set_table("Table 1");
  }
  return limits;
}

Level line(std::vector<std::pair<double, double>> points) {
  return [points = std::move(points)](double time) {
    if (time <= points.front().first) return points.front().second;
    for (std::size_t i = 1; i < points.size(); ++i) {
      const auto& [t0, v0] = points[i - 1];
      const auto& [t1, v1] = points[i];
      if (time < t1) return v0 + (v1 - v0) * (time - t0) / (t1 - t0);
    }
    return points.back().second;
  };
}

Level sine(double hz, double turns_at_0, std::function<bool(double)> on) {
  return [=, on = std::move(on)](double time) {
    return on(time) ? 15 * std::sin(2 * std::numbers::pi * (hz * time + turns_at_0)) : 0;
  };
}

Signals::Signals(double duration_s) : duration_s_(duration_s) {
  for (Level& level : levels_) level = [](double) { return 0.0; };
  levels_[kStandby] = [](double) { return 5.0; };
  levels_[kPsOn] = [](double) { return 5.0; };
  levels_[kAdapter] = sine(50, 0.1, [](double) { return true; });
}

void Signals::edge(Line line, bool high, double time_s, std::uint32_t pulse_ns) {
  Stamped stamped;
  stamped.scan = time_s * kRateHz;
  Edge* edge = stamped.event.mutable_edge();
  edge->set_line(line);
  edge->set_high(high);
  edge->set_scan(static_cast<std::uint64_t>(stamped.scan));
  edge->set_offset_256(static_cast<std::uint32_t>(256 * (stamped.scan - std::floor(stamped.scan))));
  edge->set_pulse_ns(pulse_ns);
  edges_.push_back(stamped);
}

std::vector<std::vector<std::int16_t>> Signals::sampled(const model::Jig& model) const {
  const auto scans = static_cast<std::size_t>(std::llround(duration_s_ * kRateHz));
  const double keep = std::exp(-2 * std::numbers::pi * kPoleHz / (kRateHz * kSteps));
  std::vector<std::vector<std::int16_t>> codes(kChannels);
  for (std::size_t c = 0; c < kChannels; ++c) {
    const model::JigChannel& channel = *model.at(c);
    double one = levels_[c](0);
    double two = one;
    codes[c].reserve(scans);
    for (std::size_t n = 0; n < scans; ++n) {
      const double time = static_cast<double>(n) / kRateHz;
      for (int s = 1; filtered && s <= kSteps; ++s) {
        // The middle of the step: second order, far below what the tests look at.
        const double level = levels_[c](time + (s - 0.5 - kSteps) / (kRateHz * kSteps));
        one = level + (one - level) * keep;
        two = one + (two - one) * keep;
      }
      const double code = std::round(channel.code(filtered ? two : levels_[c](time)));
      codes[c].push_back(static_cast<std::int16_t>(std::clamp(code, -32768.0, 32767.0)));
    }
  }
  return codes;
}

void Signals::comparator(Line line, std::size_t channel, std::vector<Stamped>& out) const {
  const Level& level = levels_[channel];
  bool high = level(0) > 2.0;
  const double upper = line == LINE_PWR_OK ? 2.4 : 2.0;
  const auto beyond = [&](double time) { return high ? level(time) < 0.8 : level(time) > upper; };
  Signals told(0);
  for (double scan = 1; scan < duration_s_ * kRateHz; ++scan) {
    if (!beyond(scan / kRateHz)) continue;
    double low = scan - 1;
    double high_scan = scan;
    for (int i = 0; i < 20; ++i) {
      const double middle = (low + high_scan) / 2;
      (beyond(middle / kRateHz) ? high_scan : low) = middle;
    }
    high = !high;
    told.edge(line, high, high_scan / kRateHz);
  }
  out.insert(out.end(), told.edges_.begin(), told.edges_.end());
}

std::vector<Signals::Stamped> Signals::events(const std::vector<std::vector<std::int16_t>>& codes,
                                              const model::Jig& model, const LimitSet* limits) const {
  std::vector<Stamped> out = edges_;
  comparator(LINE_PWR_OK, kPwrOk, out);
  comparator(LINE_PS_ON, kPsOn, out);
  const Arm arm = arm_limits(model, limits);
  for (int k = 0; k < arm.thresholds_size(); ++k) {
    const auto& of = codes[arm.thresholds(k).channel()];
    const int code = arm.thresholds(k).code();
    for (std::size_t n = 1; n < of.size(); ++n) {
      if ((of[n - 1] >= code) == (of[n] >= code)) continue;
      Stamped stamped;
      stamped.scan = static_cast<double>(n);
      Crossing* crossing = stamped.event.mutable_crossing();
      crossing->set_channel(arm.thresholds(k).channel());
      crossing->set_threshold(static_cast<std::uint32_t>(k));
      crossing->set_rising(of[n] > of[n - 1]);
      crossing->set_scan_before(n - 1);
      crossing->set_code_before(of[n - 1]);
      crossing->set_code_after(of[n]);
      out.push_back(stamped);
    }
  }
  std::ranges::stable_sort(out, {}, &Stamped::scan);
  return out;
}

SessionResult Signals::review(const ReviewOptions& options, const JigDescription& description) const {
  auto model = model::Jig::from_description(description, "test");
  if (!model) throw std::logic_error(model::to_string(model.error()));
  Review review(options);
  RecordingHeader header;
  *header.mutable_jig() = description;
  if (options.limits) header.set_edition(options.limits->edition());
  review.header(header);
  const auto codes = sampled(*model);
  std::vector<Stamped> told;
  if (stamps) told = events(codes, *model, options.limits ? &*options.limits : nullptr);
  std::size_t next = 0;
  const std::size_t scans = codes[0].size();
  auto decoded = std::make_unique<wire::DecodedWindows>();
  for (std::size_t at = 0; at + scans_per_window <= scans;) {
    decode::WindowBatch batch;
    batch.first_scan = at;
    batch.scans_per_window = scans_per_window;
    batch.armed_set = options.limits ? kArmedSet : 0;
    batch.windows = decoded.get();
    *decoded = wire::DecodedWindows{};
    for (; batch.window_count < wire::kWindowsPerBlock && at + scans_per_window <= scans; at += scans_per_window) {
      const std::uint32_t w = batch.window_count++;
      for (std::size_t c = 0; c < kChannels; ++c) {
        auto& columns = decoded->channels[c];
        const auto begin = codes[c].begin() + static_cast<std::ptrdiff_t>(at);
        const auto [least, most] = std::minmax_element(begin, begin + scans_per_window);
        double sum = 0;
        for (auto code = begin; code != begin + scans_per_window; ++code) sum += *code;
        columns.min[w] = *least;
        columns.max[w] = *most;
        columns.mean_8[w] = static_cast<std::int32_t>(std::lround(8 * sum / scans_per_window));
      }
    }
    decoded->window_count = batch.window_count;
    // Events go out before the block of windows in which they lie, as on the line.
    for (; next < told.size() && told[next].scan < static_cast<double>(batch.end_scan()); ++next) {
      review.event(told[next].event);
    }
    review.windows(batch);
  }
  review.finish();
  return review.result();
}

}  // namespace host::detect::signals
