// SPDX-License-Identifier: Apache-2.0
#include "host/app/results.h"

#include <algorithm>
#include <filesystem>

#include <fmt/format.h>

#include "host/app/hook_up.h"
#include "host/app/outputs.h"
#include "host/app/sha256.h"
#include "host/data/shipped.h"
#include "host/diagnose/conclusion.h"
#include "host/diagnose/lock_ups.h"
#include "host/judge/under_read.h"
#include "host/report/answer.h"
#include "host/report/csv.h"
#include "host/report/html_report.h"
#include "host/report/json.h"
#include "host/report/summary.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr double kDipWidthsS[] = {200e-6, 100e-6, 50e-6};  // named in the report

/// What short dips show through the chain of the first +12 V channel, computed from the description.
std::vector<report::UnderRead> under_reads(const proto::JigDescription& jig) {
  std::vector<report::UnderRead> out;
  const auto channel = std::ranges::find_if(jig.channels(), [](const proto::Channel& candidate) {
    return candidate.rail() == proto::RAIL_P12V && candidate.kind() == proto::CHANNEL_KIND_RAIL_VOLTAGE;
  });
  const auto usable = [](double hz) { return hz > 0; };
  if (channel == jig.channels().end() || jig.scan_rate_hz() == 0 || channel->pole_hz().empty() ||
      !std::ranges::all_of(channel->pole_hz(), usable)) {
    return out;
  }
  const std::vector<double> poles(channel->pole_hz().begin(), channel->pole_hz().end());
  const judge::UnderRead chain(poles, jig.scan_rate_hz());
  for (const double width : kDipWidthsS) out.push_back({width, chain.worst_fraction(width)});
  return out;
}

/// Whether every connector of +12 V that is sensed carries a current channel.
bool currents_everywhere(const proto::JigDescription& jig) {
  return std::ranges::none_of(jig.channels(), [](const proto::Channel& channel) {
    return channel.kind() == proto::CHANNEL_KIND_RAIL_VOLTAGE && channel.rail() == proto::RAIL_P12V &&
           channel.current_channel().empty();
  });
}

/// The conclusion, and the lock-ups weighed by what the recording declared before it began.
void diagnose(Finished& finished, const proto::Exposure& exposure) {
  const proto::JigDescription& jig = finished.header.jig();
  const bool mains_watched = std::ranges::any_of(
      jig.channels(), [](const proto::Channel& channel) { return channel.kind() == proto::CHANNEL_KIND_AC_PRESENT; });
  diagnose::Marks marks = diagnose::marks(finished.result, exposure);
  std::optional<proto::Evidence> evidence;
  if (!marks.lock_ups.empty() || !marks.remarks.empty()) {
    const proto::Declaration declared =
        finished.header.has_declaration() ? finished.header.declaration() : diagnose::default_declaration();
    evidence = diagnose::weigh(exposure, std::move(marks.lock_ups), declared);
    for (std::string& words : marks.remarks) evidence->add_remarks(std::move(words));
    evidence->set_declaration_sha256(sha256(declared.ShortDebugString()));
  }
  diagnose::conclude(finished.result, {.mains_watched = mains_watched, .currents_everywhere = currents_everywhere(jig)},
                     evidence ? &*evidence : nullptr);
}

std::string html_of(const Finished& finished, const Judging& judging) {
  report::ReportInput input;
  input.result = &finished.result;
  input.drawings = &finished.drawings;
  if (finished.header.has_jig()) {
    input.jig = &finished.header.jig();
    input.under_reads = under_reads(finished.header.jig());
  }
  if (judging.unit) input.unit = &*judging.unit;
  if (judging.limits) input.limits = &judging.limits->set;
  if (!finished.header.simulated()) {
    input.hook_up = hook_up_words(finished.header.hook_up(), finished.header.already_checked());
  }
  input.caution = data::shipped("texts/caution.txt").value_or("");
  input.style = data::shipped("texts/report.css").value_or("");
  return report::html_report(input);
}

}  // namespace

std::expected<Finished, std::string> join_result(const detect::Review& review, const proto::SessionResult& described,
                                                 const proto::RecordingHeader& header, const Judging& judging,
                                                 const std::string& recording) {
  Finished out{review.result(&described.coverage()), review.drawings(), header};
  const std::uint64_t clipped = out.result.coverage().scans_clipped();
  out.result.set_simulated(described.simulated());
  *out.result.mutable_session() = described.session();
  *out.result.mutable_coverage() = described.coverage();
  out.result.mutable_coverage()->set_scans_clipped(clipped);
  out.result.mutable_remarks()->MergeFrom(described.remarks());
  for (std::string& doubt : doubts(judging, header.jig())) out.result.add_remarks(std::move(doubt));
  out.result.set_edition(judging.limits ? judging.limits->set.edition() : "");
  diagnose(out, review.exposure());
  proto::SessionFacts& facts = *out.result.mutable_session();
  if (judging.unit) facts.set_unit_id(judging.unit->id());
  if (judging.limits) facts.set_limits_sha256(sha256(judging.limits->text));
  if (recording.empty()) return out;
  facts.set_recording(std::filesystem::path(recording).filename().string());
  const auto hash = sha256_of_file(recording);
  if (!hash) return std::unexpected(hash.error());
  facts.set_recording_sha256(*hash);
  return out;
}

std::expected<void, std::string> write_results(const Finished& finished, const Judging& judging,
                                               const ResultFiles& files) {
  if (!files.json.empty()) {
    const auto json = report::to_json(finished.result);
    if (!json)
      return std::unexpected(fmt::format("{}: the result holds a figure that is none: {}", files.json, json.error()));
    if (const auto written = write_file(files.json, *json); !written) return written;
  }
  if (!files.events_csv.empty()) {
    if (const auto written = write_file(files.events_csv, report::events_csv(finished.result)); !written)
      return written;
  }
  if (!files.report.empty()) {
    if (const auto written = write_file(files.report, html_of(finished, judging)); !written) return written;
  }
  return {};
}

int conclude(Terminal& terminal, const Finished& finished, const Judging& judging, const ResultFiles& files,
             const std::string& recording) {
  terminal.end_progress();
  const auto written = write_results(finished, judging, files);
  std::ostream& out = terminal.out();
  out << report::text_summary(finished.result);
  const std::string tag = finished.result.simulated() ? " (simulated)" : "";
  const auto place = [&](std::string_view what, const std::string& path) {
    if (!path.empty()) out << fmt::format("{}{}: {}\n", what, tag, path);
  };
  place("Recording", recording);
  if (!written) {
    out << std::flush;
    return terminal.complain(written.error(), kExitNotFinished);
  }
  place("Report", files.report);
  place("Result", files.json);
  place("Events", files.events_csv);
  place("Windows", files.windows_csv);
  out << std::flush;
  return report::exit_code(finished.result);
}

std::vector<OutputName> output_names(const ResultFiles& files) {
  return {{"--report", files.report},
          {"--json", files.json},
          {"--events-csv", files.events_csv},
          {"--windows-csv", files.windows_csv}};
}

}  // namespace host::app
