// SPDX-License-Identifier: Apache-2.0
#include "host/detect/review.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "host/decode/custody.h"
#include "host/detect/channel_figures.h"
#include "host/detect/contact.h"
#include "host/detect/cross_regulation.h"
#include "host/detect/output_resistance.h"
#include "host/detect/return_drop.h"
#include "host/detect/review_state.h"
#include "host/detect/timing_verdicts.h"
#include "host/detect/verdicts.h"

namespace host::detect {
namespace {

using steadyrail::proto::RecordingHeader;
using steadyrail::proto::SessionResult;

// Undershoot per ampere until ten droops of this unit have been measured; common practice, no source.
constexpr double kUsualOhm = 10e-3;

std::vector<judge::UnderRead> chains_of(const model::Jig& jig) {
  std::vector<judge::UnderRead> chains;
  chains.reserve(wire::kChannelCount);
  for (std::size_t i = 0; i < wire::kChannelCount; ++i) {
    const model::JigChannel* channel = jig.at(i);
    const bool rail = channel != nullptr && channel->kind == steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE;
    chains.emplace_back(rail ? std::span<const double>(channel->pole_hz) : std::span<const double>(),
                        jig.scan_rate_hz());
  }
  return chains;
}

std::optional<steadyrail::proto::Unit> unit_of(const ReviewOptions& options, const RecordingHeader& header) {
  if (options.unit) return options.unit;
  if (header.has_unit()) return header.unit();
  return std::nullopt;
}

/// Whether the chip tracked these very limits. A name alone does not say so: an edition can be edited.
bool armed_with(const ReviewOptions& options, const RecordingHeader& header) {
  return options.limits && !header.edition().empty() && header.edition() == options.limits->edition() &&
         header.limits_sha256() == options.limits_sha256;
}

}  // namespace

Session::Session(model::Jig described, const ReviewOptions& options, const RecordingHeader& header)
    : jig(std::move(described)),
      limits(options.limits),
      unit(unit_of(options, header)),
      made_with(header),
      chains(chains_of(jig)),
      maker(jig, unit ? &*unit : nullptr, limit_set()),
      check(jig),
      specified(jig, unit ? &*unit : nullptr, limit_set()),
      tally(jig, beyond_step()),
      exposure(jig),
      book(options.events_listed_max, [this](const Found& found) { exposure.event(found); }),
      waveforms(jig, history),
      excursions(
          jig, limit_set(), armed_with(options, header), book, history, chains,
          [this](const Found& found) { draw(found); }, beyond_step()),
      steps(
          jig, book, history, chains, specified, [this](const Found& found) { draw(found); },
          [this](std::size_t channel, std::uint64_t from, std::uint64_t to) {
            return excursions.meets_off(channel, from, to);
          }),
      sags(
          jig, book, history, [this](std::size_t channel) { return steps.steps().ohm(channel).value_or(kUsualOhm); },
          [this](const Found& found) { draw(found); }),
      levels(jig),
      contacts(jig, book, history, [this](const Found& found) { draw(found); }),
      ripple(jig),
      captures([this](const Capture& capture) {
        excursions.capture(capture);
        steps.capture(capture);
        tally.shape(capture, chains);
        waveforms.capture(capture);
      }),
      timing(jig, limit_set(), unit ? &*unit : nullptr, book, history, captures.kept()) {}

std::function<bool(steadyrail::proto::Rail, std::uint64_t, std::uint64_t)> Session::beyond_step() {
  return [this](steadyrail::proto::Rail rail, std::uint64_t from, std::uint64_t to) {
    return steps.beyond().at_work(rail, from, to);
  };
}

void Session::windows(const decode::WindowBatch& batch) {
  const bool sound = batch.windows != nullptr && batch.window_count >= 1 &&
                     batch.window_count <= wire::kWindowsPerBlock && batch.scans_per_window >= 1 &&
                     batch.scans_per_window <= wire::kScansPerWindowMax && batch.first_scan < kScanMost;
  if (!sound || batch.first_scan < end_scan) {
    ++batches_ignored;
    return;
  }
  if (batch.first_scan != end_scan && first_scan) hole();
  if (!first_scan) first_scan = batch.first_scan;
  end_scan = batch.end_scan();
  count_clipped(batch);
  const Block& block = maker.make(batch);
  history.add(block);
  check.add(block);
  overview.add(block);
  exposure.add(block);
  tally.add(block, maker.settled());
  tally.shape(history, captures.kept(), chains);
  excursions.add(block);
  steps.add(block);
  sags.add(block);
  timing.add(block);
  levels.add(block);
  contacts.add(block);
  ripple.add(block);
}

// Of every hello: another calibration may have been stored between two boots.
void Session::hello(const steadyrail::proto::Hello& hello) {
  if (const std::string doubt = decode::calibration_doubt(made_with, &hello); !doubt.empty()) jig.distrust(doubt);
}

void Session::count_clipped(const decode::WindowBatch& batch) {
  if (batch.clipped_mask == 0) return;
  for (std::uint32_t window = 0; window < batch.window_count; ++window) {
    bool clipped = false;
    for (const auto& channel : jig.channels()) {
      if ((batch.clipped_mask >> channel.index & 1U) == 0) continue;
      const auto& columns = batch.windows->channels[channel.index];
      clipped = clipped || columns.min[window] == INT16_MIN || columns.max[window] == INT16_MAX;
    }
    // How many scans of the window clipped is not told: all of them is the bound.
    if (clipped) scans_clipped += batch.scans_per_window;
  }
}

void Session::hole() {
  maker.gap();
  check.gap();
  excursions.gap();
  sags.gap();
  timing.gap();
  levels.gap();
  contacts.gap();
  ripple.gap();
}

void Session::restarted() {
  hole();
  steps.restarted();
  levels.restarted();
  captures.finish();
}

void Session::finish() {
  captures.finish();
  excursions.finish();
  steps.finish();
  sags.finish();
  timing.finish();
  tally.finish();
  tally.shape(history, captures.kept(), chains);
}

double Session::share() const {
  if (!first_scan || end_scan == *first_scan) return 0;
  return static_cast<double>(tally.scans_seen()) / static_cast<double>(end_scan - *first_scan);
}

Review::Review(ReviewOptions options) : state_(std::make_unique<State>()) {
  state_->options = std::move(options);
}
Review::~Review() = default;

void Review::header(const RecordingHeader& header) {
  state_->simulated = state_->simulated || header.simulated();
  if (state_->session) return;  // one header a session; a second one must not begin it anew
  auto jig = model::Jig::from_description(header.jig(), "recording");
  if (!jig) {
    state_->remarks.push_back("the jig description of the recording cannot be used, so nothing was judged: " +
                              model::to_string(jig.error()));
    return;
  }
  state_->session.emplace(std::move(*jig), state_->options, header);
  if (const std::string doubt = decode::calibration_doubt(header, nullptr); !doubt.empty()) {
    state_->session->jig.distrust(doubt);
  }
}

void Review::hello(const steadyrail::proto::Hello& hello) {
  state_->simulated = state_->simulated || hello.simulated();
  if (state_->session) state_->session->hello(hello);
}

void Review::windows(const decode::WindowBatch& batch) {
  if (state_->session) state_->session->windows(batch);
}

void Review::capture(const decode::CaptureBatch& batch) {
  if (state_->session) state_->session->captures.add(batch);
}

void Review::event(const steadyrail::proto::Event& event) {
  if (!state_->session) return;
  if (event.has_excursion()) state_->session->excursions.chip(event.excursion());
  if (event.has_storm()) state_->session->excursions.storm(event.storm());
  if (event.has_edge()) state_->session->timing.edge(event.edge());
  if (event.has_crossing()) state_->session->timing.crossing(event.crossing());
  if (event.has_load_step()) {
    state_->session->steps.step(event.load_step());
    state_->session->levels.step(event.load_step());
  }
  if (event.has_settled()) {
    state_->session->steps.settled(event.settled());
    state_->session->levels.settled(event.settled());
  }
}

void Review::status(const steadyrail::proto::Status&) {}

void Review::gap(const decode::ScanGap&) {
  if (state_->session) state_->session->hole();
}

void Review::restarted(std::uint32_t) {
  if (state_->session) state_->session->restarted();
}

void Review::note(const steadyrail::proto::HostNote&) {}

void Review::finish() {
  if (state_->session) state_->session->finish();
}

SessionResult Review::result(const steadyrail::proto::Coverage* decoded) const {
  SessionResult result;
  result.set_simulated(state_->simulated);
  result.set_conclusion(steadyrail::proto::CONCLUSION_NOT_TESTED);
  for (const auto& remark : state_->remarks) result.add_remarks(remark);
  if (state_->options.limits) result.set_edition(state_->options.limits->edition());
  if (!state_->session) {
    if (state_->remarks.empty()) result.add_remarks("the recording has no header: nothing was judged");
    return result;
  }
  const Session& session = *state_->session;
  Seen seen;
  seen.scans_share = session.share();
  if (decoded != nullptr && decoded->scans_expected() > 0) {
    const double share = static_cast<double>(decoded->scans_seen()) / static_cast<double>(decoded->scans_expected());
    seen.scans_share = std::min(seen.scans_share, share);
  }
  for (std::size_t rail = 0; rail < judge::kRailCount; ++rail) {
    seen.steps[rail] = session.steps.steps().of_rail(static_cast<steadyrail::proto::Rail>(rail));
  }
  write_verdicts(session.jig, session.limit_set(), session.tally, session.chains, seen, result);
  write_channel_figures(session.jig, session.tally, result);
  write_timing_verdicts(session.jig, session.limit_set(), session.timing, result);
  write_events(session, result);
  session.steps.steps().write(result);
  write_output_resistances(session.jig, session.levels, result);
  write_cross_regulation(session.jig, session.levels, result);
  write_contacts(session.jig, session.levels, session.unit ? &*session.unit : nullptr, result);
  write_returns(session.jig, session.levels, session.unit ? &*session.unit : nullptr, result);
  write_burdens(session.jig, session.levels, result);
  session.ripple.write(session.limit_set(), result);
  write_channel_findings(session.jig, session.check.findings(), result);
  result.mutable_coverage()->set_scans_clipped(session.scans_clipped);
  for (const auto& remark : session.maker.rating().remarks()) result.add_remarks(remark);
  for (const auto& remark : session.specified.remarks()) result.add_remarks(remark);
  for (const auto& remark : session.excursions.contradictions()) result.add_remarks(remark);
  if (session.excursions.stretches_off() > 0) {
    result.add_remarks(fmt::format(
        "the supply was off (PWR_OK low or PS_ON# high) for {:.3f} s in {} stretches: its main rails were not "
        "judged there",
        static_cast<double>(session.excursions.scans_off()) / session.jig.scan_rate_hz(),
        session.excursions.stretches_off()));
  }
  if (session.batches_ignored > 0) {
    result.add_remarks(
        fmt::format("{} window blocks out of order or without meaning were left out", session.batches_ignored));
  }
  return result;
}

std::uint64_t Review::excursions() const {
  std::uint64_t count = 0;
  if (!state_->session) return count;
  for (const EventBook::Count& kind : state_->session->book.counts()) {
    if (kind.kind == steadyrail::proto::EVENT_KIND_EXCURSION) count += kind.listed + kind.counted;
  }
  return count;
}

std::span<const ChannelFinding> Review::channel_findings() const {
  if (!state_->session) return {};
  return state_->session->check.findings();
}

steadyrail::proto::Exposure Review::exposure() const {
  steadyrail::proto::Exposure exposure;
  if (state_->session) state_->session->exposure.write(exposure);
  return exposure;
}

steadyrail::proto::Drawings Review::drawings() const {
  steadyrail::proto::Drawings drawings;
  if (!state_->session) return drawings;
  state_->session->waveforms.write(state_->session->book, drawings);
  state_->session->overview.write(state_->session->jig, drawings);
  return drawings;
}

}  // namespace host::detect
