// SPDX-License-Identifier: Apache-2.0
#include <memory>
#include <optional>

#include <fmt/format.h>

#include "host/app/outputs.h"
#include "host/app/results.h"
#include "host/app/verbs.h"
#include "host/app/window_export.h"
#include "host/decode/review_file.h"
#include "host/record/reader.h"

namespace host::app {
namespace {

/// Header of a recording. The error is a sentence for the user.
std::expected<steadyrail::proto::RecordingHeader, std::string> header_of(const std::string& recording) {
  auto reader = record::Reader::open(recording);
  if (!reader) return std::unexpected(reader.error().message);
  return reader->header();
}

struct Reviewed {
  Finished finished;
  Judging judging;
};

/// Reads a recording through every detector. The error is the exit status; the complaint has been printed.
std::expected<Reviewed, int> read_back(const ReviewOptions& options, Terminal& terminal, const Interrupt& interrupt) {
  const auto wrong = [&](const std::string& why, int status = kExitWrongUse) {
    return std::unexpected(terminal.complain(why, status));
  };
  if (const auto checked = check_outputs(output_names(options.files), {options.recording}); !checked) {
    return wrong(checked.error());
  }
  const auto header = header_of(options.recording);
  if (!header) return wrong(header.error());
  std::optional<steadyrail::proto::Unit> recorded_unit;
  if (header->has_unit()) recorded_unit = header->unit();
  auto judging = load_judging(options.judge, recorded_unit, header->edition());
  if (!judging) return wrong(judging.error());

  detect::ReviewOptions detectors;
  if (judging->limits) detectors.limits = judging->limits->set;
  detectors.unit = judging->unit;
  detect::Review found(detectors);
  std::vector<decode::Sink*> sinks{&found};
  std::unique_ptr<WindowExport> windows;
  if (!options.files.windows_csv.empty()) {
    auto created = WindowExport::create(options.files.windows_csv);
    if (!created) return wrong(created.error());
    windows = std::move(*created);
    sinks.push_back(windows.get());
  }
  Tee tee(sinks);
  const auto described = decode::review_file(options.recording, tee, [&](std::uint64_t done, std::uint64_t all) {
    terminal.progress(fmt::format("reading: {} %", all == 0 ? 100 : done * 100 / all));
    return !interrupt.requested();
  });
  terminal.end_progress();
  if (!described) return wrong(described.error().message, kExitNotFinished);
  if (interrupt.requested()) return wrong("interrupted: nothing was judged", kExitNotFinished);
  if (windows != nullptr) {
    if (const auto closed = windows->close(); !closed) return wrong(closed.error(), kExitNotFinished);
  }
  auto finished = join_result(found, *described, *header, *judging, options.recording);
  if (!finished) return wrong(finished.error(), kExitNotFinished);
  return Reviewed{std::move(*finished), std::move(*judging)};
}

}  // namespace

int review(const ReviewOptions& options, Terminal& terminal, const Interrupt& interrupt) {
  const auto reviewed = read_back(options, terminal, interrupt);
  if (!reviewed) return reviewed.error();
  return conclude(terminal, reviewed->finished, reviewed->judging, options.files, options.recording);
}

int export_recording(const ExportOptions& options, Terminal& terminal, const Interrupt& interrupt) {
  if (options.events.empty() && options.windows.empty()) {
    return terminal.complain("export: name --events or --windows, or both");
  }
  ReviewOptions as_review{.recording = options.recording, .judge = options.judge, .files = {}};
  as_review.files.events_csv = options.events;
  as_review.files.windows_csv = options.windows;
  const auto reviewed = read_back(as_review, terminal, interrupt);
  if (!reviewed) return reviewed.error();
  if (const auto written = write_results(reviewed->finished, reviewed->judging, as_review.files); !written) {
    return terminal.complain(written.error(), kExitNotFinished);
  }
  const std::string tag = reviewed->finished.result.simulated() ? " (simulated)" : "";
  if (!options.events.empty()) terminal.out() << "Events" << tag << ": " << options.events << '\n';
  if (!options.windows.empty()) terminal.out() << "Windows" << tag << ": " << options.windows << '\n';
  return 0;
}

}  // namespace host::app
