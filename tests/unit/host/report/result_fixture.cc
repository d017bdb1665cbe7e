// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/host/report/result_fixture.h"

#include <cmath>

#include <google/protobuf/text_format.h>
#include <gtest/gtest.h>

namespace host::report {
namespace {

constexpr const char* kResult = R"(
simulated: true  edition: "atx-3.0"
verdicts { channel: "main-12v" rail: "+12V" quantity: QUANTITY_STATIC value: 11.9421 unit: "V" expanded_uncertainty: 0.0104
  limit: 11.2 limit_status: LIMIT_STATUS_READ within_rating: WITHIN_RATING_YES decision: DECISION_PASS side: "low" }
verdicts { channel: "graphics-1-12v" rail: "+12V" quantity: QUANTITY_DYNAMIC value: 10.8285 unit: "V"
  expanded_uncertainty: 0.0117 limit: 11.2 limit_status: LIMIT_STATUS_READ within_rating: WITHIN_RATING_YES
  decision: DECISION_FAIL side: "low" time_s: 12.00125 probability_nonconforming: 1 }
verdicts { channel: "main-m12v" rail: "-12V" quantity: QUANTITY_STATIC value: -11.91 unit: "V" expanded_uncertainty: 0.012
  limit: -10.8 limit_status: LIMIT_STATUS_FROM_MEMORY decision: DECISION_UNDECIDED side: "high" reason: "limit from memory" }
verdicts { channel: "peripheral-12v" rail: "+12V" quantity: QUANTITY_STATIC unit: "V" decision: DECISION_NOT_TESTED
  reason: "channel is not calibrated" }
events { kind: EVENT_KIND_EXCURSION channel: "graphics-1-12v" rail: "+12V" side: "low" start_s: 12.0009375
  start_uncertainty_s: 1.3e-5 duration_s: 0.010 extreme_v: 10.8285 expanded_uncertainty_v: 0.0117 depth_v: 0.3715
  area_vs: 0.00342 source: FIGURE_SOURCE_CHIP within_rating: WITHIN_RATING_YES decision: DECISION_FAIL event_id: 1 }
events { kind: EVENT_KIND_LOAD_STEP channel: "current-graphics-1" start_s: 12.0009 step_a: 20.1
  source: FIGURE_SOURCE_CHIP event_id: 2 }
events { kind: EVENT_KIND_SAG channel: "main-12v" rail: "+12V" side: "low" start_s: 31.5 duration_s: 0.000094
  extreme_v: 11.74 expanded_uncertainty_v: 0.0104 depth_v: 0.3 source: FIGURE_SOURCE_WINDOW explained: true
  retained: 0.975 truncated: true event_id: 3 }
coverage { scans_expected: 1920000 scans_seen: 1918976 frames_damaged: 1 bytes_discarded: 913 frames: 4021 gaps_total: 1
  scans_clipped: 0 gaps { start_s: 40 end_s: 40.032 cause: LOSS_CAUSE_DAMAGED } }
session { recording: "evening.steadyrail" jig_id: "J-01" calibration_id: "C-01-3" firmware: "0.1.0" boot: 3 unit_id: "U-1"
  question: "Locks up in games after half an hour" scenario: "loose-connector" seed: 7
  started_utc: "2026-01-01T00:00:00Z" duration_s: 60 clock_rate_ppm: 12.5 clock_uncertainty_s: 0.0004
  recording_sha256: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08" host_version: "0.1.0"
  ended: "finished" }
event_counts { kind: EVENT_KIND_EXCURSION channel: "graphics-1-12v" listed: 1 counted: 4 }
steps { channel: "graphics-1-12v" current_channel: "current-graphics-1" rising: true steps: 41 step_a_median: 20
  deviation_v_median: 1.03 undershoot_v_median: 0.138 settled_shift_v_median: 0.9 time_to_minimum_s_median: 0.00025
  recovery_s_median: 0.0009 deviation_v_worst: 1.04 }
output_resistances { channel: "graphics-1-12v" rail: "+12V" current_channel: "current-graphics-1" value: 44.9e-3
  unit: "ohm" interval_low: 44.6e-3 interval_high: 45.2e-3 points: 41 levels: 12 current_least_a: 5 current_most_a: 24
  open_circuit_v: 12.07 attenuation: 0.9999 taken_out: "current-processor" source: FIGURE_SOURCE_CHIP }
output_resistances { channel: "main-12v" rail: "+12V" unit: "ohm" points: 3
  refusal: "not enough spread: 1 settled level over 0.2 A, 5 over 3 A required" }
cross_regulation { condition_number: 1.4 points: 60 source: FIGURE_SOURCE_CHIP
  entries { channel: "main-5v" rail: "+5V" load: "+12V" value: 0.005 unit: "V/A" interval_low: 0.0048
    interval_high: 0.0052 } }
contact_resistances { channel: "graphics-1-12v" reference: "main-12v" rail: "+12V" conductor: "supply"
  current_channel: "current-graphics-1" value: 41.4e-3 unit: "ohm" interval_low: 41.1e-3 interval_high: 41.7e-3
  expected: 6.6e-3 excess: 34.8e-3 excess_low: 29e-3 excess_high: 36e-3 flagged: true heat_w: 20.04 heat_a: 24
  points: 41 levels: 12 source: FIGURE_SOURCE_CHIP }
return_drops { channel: "ground-graphics" connector: "graphics-1" value: 0.0312 unit: "V" expanded_uncertainty: 0.0012
  load_a: 24.5 least: 0.004 most: 0.033 points: 41 source: FIGURE_SOURCE_CHIP slope: 1.9e-3 slope_low: 1.88e-3
  slope_high: 1.92e-3 slope_unit: "ohm" expected: 3.4e-3 expected_most: 3.7e-3 connectors: "graphics-1" }
jig_burdens { channel: "current-graphics-1" connector: "graphics-1" value: 0.0384 unit: "V" expanded_uncertainty: 0.0096
  current_a: 24 }
ripple_bounds { channel: "main-12v" rail: "+12V" value: 0.0104 unit: "V" expanded_uncertainty: 0.0105 median_pp: 0.0107
  most_pp: 0.0121 noise_pp: 0.0025 window_s: 0.02 windows_read: 55 mains_residue: 0.0021 mains_hz: 50 mains_load_a: 18.2
  mains_windows: 11 source: FIGURE_SOURCE_WINDOW note: "a tone of 100 kHz would show at 4.0 kHz, 51 times smaller" }
)";

constexpr const char* kJig = R"(
id: "J-01" build: "precise" scan_rate_hz: 32000
channels { index: 0 name: "main-12v" kind: CHANNEL_KIND_RAIL_VOLTAGE rail: RAIL_P12V connector: "main" input: "m.0"
  pole_hz: 14182 pole_hz: 14210 }
channels { index: 8 name: "graphics-1-12v" kind: CHANNEL_KIND_RAIL_VOLTAGE rail: RAIL_P12V connector: "graphics-1"
  input: "g.0" pole_hz: 14182 pole_hz: 14210 current_channel: "current-graphics-1" }
channels { index: 9 name: "peripheral-12v" kind: CHANNEL_KIND_RAIL_VOLTAGE rail: RAIL_P12V connector: "peripheral" input: "p.6" }
channels { index: 11 name: "current-graphics-1" kind: CHANNEL_KIND_CURRENT rail: RAIL_P12V connector: "graphics-1" input: "g.3" }
calibration { id: "C-01-3" date: "2026-01-01" due: "2027-01-01" reference: "6.5-digit meter, 0.05 % class"
  channels { channel: "main-12v" } channels { channel: "graphics-1-12v" } channels { channel: "current-graphics-1" } }
not_measured: "SENSE0" not_measured: "SENSE1" not_measured: "CARD_CBL_PRES#"
)";

constexpr const char* kUnit = R"(
id: "U-1" edition: "atx-3.0" total_w: 690 total_condition: "continuous"
rails { rail: RAIL_P12V amps: 53.7 sub_rails { name: "12V1" amps: 31.5 connectors: "main" connectors: "processor-1" } }
rails { rail: RAIL_P5V amps: 18.3 } combined { rails: [RAIL_P5V, RAIL_P3V3] watts: 117 }
)";

constexpr const char* kLimits = R"(
edition: "atx-3.0" title: "Multi rail desktop platforms" document: "Design guide, document 336521" applies_at: "load end"
regulation { rail: RAIL_P12V output: "+12 V" least_uv: 11200000 most_uv: 12600000 nominal_uv: 12000000 table: "4-2"
  status: LIMIT_STATUS_READ }
required { scans_share: 0.999 settled_mean_s: 60 steps_each_way: 30 }
)";

template <typename Message>
void parse(const char* text, Message& message) {
  ASSERT_TRUE(google::protobuf::TextFormat::ParseFromString(text, &message));
}

}  // namespace

HandMadeSession::HandMadeSession() {
  parse(kResult, result);
  parse(kJig, jig);
  parse(kUnit, unit);
  parse(kLimits, limits);
  // A step of 20 A through a loose plug: drops at once to 10.83 V, a little undershoot, back after 10 ms.
  steadyrail::proto::Waveform& wave = *drawings.add_waveforms();
  wave.set_event_id(1);
  wave.set_channel("graphics-1-12v");
  wave.set_unit("V");
  wave.set_step_s(1.0 / 32000);
  wave.set_first_s(12.0009375 - 64 * wave.step_s());
  for (int scan = 0; scan < 600; ++scan) {
    const double since_ms = (scan - 64) / 32.0;
    const bool loaded = since_ms >= 0 && since_ms < 10;
    const double volts = 11.87 - (loaded ? 0.9 + 0.1415 * std::exp(-since_ms / 0.4) * std::cos(since_ms * 3) : 0) +
                         0.004 * std::sin(scan * 1.7);
    wave.add_low(static_cast<float>(volts));
    wave.add_high(static_cast<float>(volts));
  }
  for (const char* channel : {"main-12v", "graphics-1-12v"}) {
    steadyrail::proto::Overview& overview = *drawings.add_overviews();
    overview.set_channel(channel);
    overview.set_unit("V");
    overview.set_step_s(0.1);
    for (int column = 0; column < 600; ++column) {
      const double dip = column % 37 == 0 ? 0.7 : 0.1;
      overview.add_low(static_cast<float>(column == 400 ? std::nanf("") : 11.95 - dip));
      overview.add_mean(11.95F);
      overview.add_high(static_cast<float>(column == 400 ? std::nanf("") : 12.02));
    }
  }
}

ReportInput HandMadeSession::input() const {
  ReportInput out;
  out.result = &result;
  out.drawings = &drawings;
  out.jig = &jig;
  out.unit = &unit;
  out.limits = &limits;
  out.under_reads = {{2e-4, 0.99999}, {1e-4, 0.987}, {5e-5, 0.734}};
  out.caution = "Mains voltage kills. Never open a supply.";
  return out;
}

}  // namespace host::report
