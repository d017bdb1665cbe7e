// SPDX-License-Identifier: Apache-2.0
#include <ctime>
#include <string>

#include "host/decode/custody.h"
#include "host/decode/decoder_state.h"

namespace host::decode {
namespace {

std::string iso_8601(std::uint64_t utc_us) {
  const auto seconds = static_cast<std::time_t>(utc_us / 1'000'000);
  std::tm parts{};
  ::gmtime_r(&seconds, &parts);
  char text[32];
  const std::size_t length = std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &parts);
  return std::string(text, length);
}

}  // namespace

steadyrail::proto::Coverage Decoder::coverage() const {
  const FrameCounts& counts = state_->counts;
  const Continuity& continuity = state_->continuity;
  steadyrail::proto::Coverage coverage;
  coverage.set_scans_seen(continuity.scans_seen());
  coverage.set_scans_expected(continuity.scans_seen() + continuity.scans_missing());
  coverage.set_frames(counts.sound);
  coverage.set_frames_damaged(counts.damaged + counts.overlong);
  coverage.set_bytes_discarded(counts.bytes_damaged + counts.bytes_overlong + counts.bytes_cut);
  coverage.set_frames_missing(counts.missing);
  coverage.set_gaps_total(continuity.gaps_total());
  for (const ScanGap& gap : continuity.gaps()) {
    auto& listed = *coverage.add_gaps();
    listed.set_start_s(static_cast<double>(gap.from_scan) / state_->scan_rate_hz);
    listed.set_end_s(static_cast<double>(gap.to_scan) / state_->scan_rate_hz);
    listed.set_cause(gap.cause);
  }
  return coverage;
}

void Decoder::describe(steadyrail::proto::SessionResult& result) const {
  const State& state = *state_;
  const auto& header = state.header;
  const auto& hello = state.hello;
  const std::uint64_t clipped = result.coverage().scans_clipped();
  *result.mutable_coverage() = coverage();
  result.mutable_coverage()->set_scans_clipped(clipped);
  result.set_simulated(header.simulated() || (hello && hello->simulated()));
  for (const std::string& words : state.remarks) result.add_remarks(words);
  if (state.counts.missing > 0) {
    result.add_remarks(std::to_string(state.counts.missing) +
                       " frames are missing by their sequence numbers: lost windows are gaps, but events, captures and "
                       "status that were in them leave no other trace");
  }

  auto& facts = *result.mutable_session();
  facts.set_jig_id(hello ? hello->jig_id() : header.jig().id());
  // The description in the recording is what its codes are read with; the chip's own id is second to it.
  facts.set_calibration_id(header.jig().has_calibration() || !hello ? header.jig().calibration().id()
                                                                    : hello->calibration_id());
  facts.set_calibration_due(header.jig().calibration().due());
  facts.set_calibration_doubt(hello ? state.calibration_doubt : calibration_doubt(header, nullptr));
  if (hello) facts.set_firmware(hello->firmware());
  facts.set_boot(state.sequence.boot());
  facts.set_unit_id(header.unit().id());
  facts.set_question(header.question());
  facts.set_symptom(header.symptom());
  facts.set_scenario(header.scenario());
  facts.set_seed(header.seed());
  if (header.started_utc_us() != 0) facts.set_started_utc(iso_8601(header.started_utc_us()));
  facts.set_duration_s(static_cast<double>(state.continuity.end_scan() - state.continuity.first_scan()) /
                       state.scan_rate_hz);
  if (const auto line = state.clock.line()) {
    facts.set_clock_rate_ppm(line->rate_ppm);
    facts.set_clock_uncertainty_s(line->uncertainty_s + ClockFit::kLeastDelayMaxS);
  }
  for (steadyrail::proto::SessionMark& mark : state.marks.placed(state.clock, state.scan_rate_hz)) {
    *facts.add_marks() = std::move(mark);
  }
  if (state.marks.dropped() > 0) {
    result.add_remarks(std::to_string(state.marks.dropped()) + " marks beyond the first " +
                       std::to_string(MarkBook::kMarksMost) + " were left out");
  }
  *facts.mutable_heartbeats() = state.heartbeats;
  *facts.mutable_hook_up() = header.hook_up();
  facts.set_host_version(header.host_version());
  facts.set_ended(state.closing.empty() ? "cut" : state.closing);
}

}  // namespace host::decode
