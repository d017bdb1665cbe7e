// SPDX-License-Identifier: Apache-2.0
#include "host/app/reviewing.h"

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "host/app/outputs.h"
#include "host/app/window_export.h"
#include "host/decode/review_file.h"
#include "host/diagnose/lock_ups.h"
#include "host/record/reader.h"

namespace host::app {
namespace {

/// A window chosen after the recording was made is a second look at least, whatever was declared.
void look_again(const ReviewOptions& options, steadyrail::proto::RecordingHeader& header) {
  steadyrail::proto::Declaration declared =
      header.has_declaration() ? header.declaration() : diagnose::default_declaration();
  std::uint32_t tries = std::max<std::uint32_t>(1, declared.tries());
  if (options.lock_up_window) {
    declared.set_window_s(std::chrono::duration<double>(*options.lock_up_window).count());
    ++tries;
  }
  declared.set_tries(std::max(tries, options.looks));
  if (declared.tries() > 1) *header.mutable_declaration() = declared;
}

}  // namespace

std::expected<steadyrail::proto::RecordingHeader, std::string> header_of(const std::string& recording) {
  auto reader = record::Reader::open(recording);
  if (!reader) return std::unexpected(reader.error().message);
  return reader->header();
}

std::expected<Reviewed, int> read_back(const ReviewOptions& options, Terminal& terminal, const Interrupt& interrupt) {
  const auto wrong = [&](const std::string& why, int status = kExitWrongUse) {
    return std::unexpected(terminal.complain(why, status));
  };
  if (const auto checked = check_outputs(output_names(options.files), {options.recording}); !checked) {
    return wrong(checked.error());
  }
  auto header = header_of(options.recording);
  if (!header) return wrong(header.error());
  std::optional<steadyrail::proto::Unit> recorded_unit;
  if (header->has_unit()) recorded_unit = header->unit();
  auto judging = load_judging(options.judge, recorded_unit, header->edition());
  if (!judging) return wrong(judging.error());

  detect::Review found(detectors(*judging));
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
  look_again(options, *header);
  auto finished = join_result(found, *described, *header, *judging, options.recording);
  if (!finished) return wrong(finished.error(), kExitNotFinished);
  return Reviewed{std::move(*finished), std::move(*judging)};
}

}  // namespace host::app
