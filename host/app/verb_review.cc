// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "host/app/outputs.h"
#include "host/app/results.h"
#include "host/app/reviewing.h"
#include "host/app/verbs.h"
#include "host/app/window_export.h"
#include "host/decode/session_index.h"

namespace host::app {
namespace {

/// Seconds [first, second) of the session; the end is rounded up, so that what was asked for lies inside.
std::pair<std::uint64_t, std::uint64_t> whole_seconds(const ExportOptions& options) {
  using std::chrono::seconds;
  const auto from = std::chrono::floor<seconds>(options.from.value_or(std::chrono::milliseconds::zero()));
  const auto to = options.to ? std::chrono::ceil<seconds>(*options.to) : seconds::max();
  return {static_cast<std::uint64_t>(from.count()), static_cast<std::uint64_t>(to.count())};
}

/// Windows of a stretch alone, read from where the index says that it begins. The exit status.
int export_stretch(const ExportOptions& options, Terminal& terminal, const Interrupt& interrupt) {
  const auto [from_s, to_s] = whole_seconds(options);
  if (from_s >= to_s) return terminal.complain("export: --from lies at or after --to");
  if (const auto checked = check_outputs({{"--windows", options.windows}}, {options.recording}); !checked) {
    return terminal.complain(checked.error());
  }
  const auto index = decode::index_of(options.recording, [&](std::uint64_t done, std::uint64_t all) {
    terminal.progress(fmt::format("indexing: {} %", all == 0 ? 100 : done * 100 / all));
    return !interrupt.requested();
  });
  terminal.end_progress();
  if (interrupt.requested()) return terminal.complain("interrupted: nothing was written", kExitNotFinished);
  if (!index) return terminal.complain(index.error().message);
  auto windows = WindowExport::create(options.windows);
  if (!windows) return terminal.complain(windows.error());
  const auto read = decode::review_stretch(options.recording, *index, from_s, to_s, **windows);
  if (!read) return terminal.complain(read.error().message, kExitNotFinished);
  if (const auto closed = (*windows)->close(); !closed) return terminal.complain(closed.error(), kExitNotFinished);
  const auto header = header_of(options.recording);
  const std::string tag = header && header->simulated() ? " (simulated)" : "";
  terminal.out() << "Windows" << tag << ": " << options.windows << '\n';
  return 0;
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
  if (options.from || options.to) {
    if (options.windows.empty() || !options.events.empty()) {
      return terminal.complain("export: --from and --to go with --windows alone: events are judged on whole sessions");
    }
    return export_stretch(options, terminal, interrupt);
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
