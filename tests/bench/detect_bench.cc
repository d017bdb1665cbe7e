// SPDX-License-Identifier: Apache-2.0
// Windows to verdicts: detect_bench [SECONDS]
// The simulated supply on the reference jig, windowed, packed and unpacked once; then the whole review on one core, a
// session of SECONDS (default 3600) made by going round those windows. Quiet: loads at rest after start-up. Gaming: the
// healthy supply. Loose: a loose connector judged by a limit it breaks on every frame. Storm: at rest, but every second
// scan of every rail lies beyond its low limit and every other one clear of the hysteresis, with the chip's word on it:
// its budget of excursions a second and the count of the rest. Prints x real time, memory and storm over quiet.
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <string>
#include <vector>

#include <fmt/core.h>

#include "host/data/shipped.h"
#include "host/detect/arm.h"
#include "host/detect/review.h"
#include "host/model/jig.h"
#include "host/model/text.h"
#include "proto/wire/window_codec.h"
#include "tests/bench/simulated_samples.h"

namespace {

constexpr std::size_t kScanRateHz = 32'000;
constexpr std::size_t kPatternSeconds = 8;

/// A field of /proc/self/status, kB.
std::size_t status_kb(const std::string& field) {
  std::ifstream status("/proc/self/status");
  for (std::string line; std::getline(status, line);) {
    if (line.starts_with(field)) return std::strtoul(line.c_str() + field.size() + 1, nullptr, 10);
  }
  return 0;
}

std::vector<wire::DecodedWindows> unpacked(const bench::Samples& samples) {
  std::vector<wire::DecodedWindows> decoded;
  std::vector<std::byte> body(wire::kWindowBodyBytesMax);
  for (const wire::WindowBlock& block : bench::make_blocks(samples, bench::kReferenceLimitCode)) {
    const std::size_t bytes = wire::encode_windows(block, body);
    decoded.emplace_back();
    if (!wire::decode_windows(std::span(body).first(bytes), block.scans_per_window, block.window_count,
                              decoded.back())) {
      std::abort();
    }
  }
  return decoded;
}

bench::Samples at_rest(bench::Samples samples) {
  for (auto& channel : samples) {
    for (std::size_t i = 0; i < channel.size(); ++i) channel[i] = channel[i % 32];
  }
  return samples;
}

/// Every second scan of every rail beyond its low limit, the others back beyond the release.
bench::Samples stormy(bench::Samples samples, const steadyrail::proto::Arm& arm) {
  constexpr int kBeyondCodes = 20;
  for (const auto& limit : arm.limits()) {
    if (limit.side() != steadyrail::proto::SIDE_LOW) continue;
    auto& codes = samples[limit.channel()];
    for (std::size_t i = 0; i < codes.size(); ++i) {
      codes[i] =
          static_cast<std::int16_t>(i % 2 == 0 ? limit.code() - kBeyondCodes : limit.release_code() + kBeyondCodes);
    }
  }
  return samples;
}

/// What the chip tells of a second of it: as many excursions as its budget holds, and one count a limit.
void tell_storm(host::detect::Review& review, const steadyrail::proto::Arm& arm, std::uint64_t first_scan) {
  constexpr std::uint32_t kBudget = 50;  // events_per_s of the configuration, where it names none
  std::vector<const steadyrail::proto::ArmedLimit*> low;
  for (const auto& limit : arm.limits()) {
    if (limit.side() == steadyrail::proto::SIDE_LOW) low.push_back(&limit);
  }
  for (std::uint32_t k = 0; k < kBudget; ++k) {
    steadyrail::proto::Event event;
    auto& excursion = *event.mutable_excursion();
    excursion.set_channel(low[k % low.size()]->channel());
    excursion.set_side(steadyrail::proto::SIDE_LOW);
    excursion.set_armed_set(arm.set());
    excursion.set_start_scan(first_scan + 2 * k);
    excursion.set_end_scan(first_scan + 2 * k + 1);
    excursion.set_extreme_scan(first_scan + 2 * k);
    excursion.set_extreme_code(low[k % low.size()]->code() - 20);
    review.event(event);
  }
  for (const auto* limit : low) {
    steadyrail::proto::Event event;
    auto& storm = *event.mutable_storm();
    storm.set_channel(limit->channel());
    storm.set_side(steadyrail::proto::SIDE_LOW);
    storm.set_excursions(kScanRateHz / 2);
    storm.set_first_scan(first_scan);
    storm.set_last_scan(first_scan + kScanRateHz - 1);
    storm.set_extreme_code(limit->code() - 20);
    storm.set_scans_beyond(kScanRateHz / 2);
    review.event(event);
  }
}

struct Setup {
  steadyrail::proto::RecordingHeader header;
  host::detect::ReviewOptions options;
  steadyrail::proto::Arm arm;
};

Setup make_setup() {
  Setup setup;
  const auto jig = host::model::Jig::from_text(host::data::shipped("jigs/reference.textproto").value(), "reference");
  if (!jig) std::abort();
  *setup.header.mutable_jig() = jig->description();
  steadyrail::proto::LimitSet limits;
  const auto text = host::data::shipped("limits/atx-3.0.textproto");
  if (!text || !host::model::parse_text(*text, "atx-3.0", limits)) std::abort();
  setup.options.limits = limits;
  steadyrail::proto::Unit unit;
  const auto label = host::data::shipped("units/u-1.textproto");
  if (!label || !host::model::parse_text(*label, "u-1", unit)) std::abort();
  setup.options.unit = unit;
  setup.options.limits_sha256 = "as armed";
  setup.header.set_edition(limits.edition());
  setup.header.set_limits_sha256(setup.options.limits_sha256);
  setup.arm = host::detect::arm_limits(*jig, &limits);
  return setup;
}

/// Times real time. `told`: with the chip's word on a storm.
double measure(const char* name, const bench::Samples& samples, std::size_t seconds, const Setup& setup,
               bool told = false) {
  const std::vector<wire::DecodedWindows> windows = unpacked(samples);
  host::detect::Review review(setup.options);
  review.header(setup.header);
  std::uint64_t scan = 0;
  std::size_t place = 0;
  std::size_t early_kb = 0;
  std::uint64_t next_told = 0;
  // Processor time: what a shared machine gives to others is not the review's.
  const std::clock_t start = std::clock();
  while (scan < seconds * kScanRateHz) {
    if (told && scan / kScanRateHz >= next_told) tell_storm(review, setup.arm, next_told++ * kScanRateHz);
    const wire::DecodedWindows& block = windows[place];
    place = (place + 1) % windows.size();
    const host::decode::WindowBatch batch{.first_scan = scan,
                                          .scans_per_window = 32,
                                          .window_count = block.window_count,
                                          .armed_set = setup.arm.set(),
                                          .clipped_mask = 0,
                                          .windows = &block};
    review.windows(batch);
    scan = batch.end_scan();
    if (early_kb == 0 && scan > seconds * kScanRateHz / 10) early_kb = status_kb("VmRSS:");
  }
  review.finish();
  const double taken = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
  const std::size_t late_kb = status_kb("VmRSS:");
  std::size_t events = 0;
  const auto result = review.result();
  for (const auto& count : result.event_counts()) events += count.listed() + count.counted();
  const double channel_windows = 24.0 * 1000 * static_cast<double>(seconds);
  fmt::print(
      "{:<8} {:>8.0f} x real time  {:>6.2f} ns a channel-window  {:>9} events  resident {:>6} kB after a tenth, {:>6} "
      "kB at the end\n",
      name, static_cast<double>(seconds) / taken, 1e9 * taken / channel_windows, events, early_kb, late_kb);
  return static_cast<double>(seconds) / taken;
}

}  // namespace

int main(int argc, char** argv) {
  const std::size_t seconds = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 3600;
  if (seconds < 10 || seconds > 1'000'000) {
    fmt::print(stderr, "detect_bench: seconds from 10 to 1000000, not {}\n", argv[1]);
    return 2;
  }
  const Setup setup = make_setup();
  const bench::Samples healthy = bench::simulated_samples("healthy", kPatternSeconds * kScanRateHz, 1);
  const bench::Samples loose = bench::simulated_samples("loose-connector", kPatternSeconds * kScanRateHz, 1);
  if (healthy[0].empty() || loose[0].empty()) return 3;
  fmt::print("review of {} s at 24 channels, 1 ms windows, one core\n", seconds);
  const double quiet = measure("quiet", at_rest(healthy), seconds, setup);
  measure("gaming", healthy, seconds, setup);
  measure("loose", loose, seconds, setup);
  const double storm = measure("storm", stormy(at_rest(healthy), setup.arm), seconds, setup, true);
  fmt::print("storm runs at {:.2f} of the quiet pace; 0.20 is asked\n", storm / quiet);
  return 0;
}
