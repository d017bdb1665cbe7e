// SPDX-License-Identifier: Apache-2.0
#include <algorithm>

#include <fmt/format.h>

#include "host/app/outputs.h"
#include "host/app/reviewing.h"
#include "host/app/verbs.h"
#include "host/data/shipped.h"
#include "host/diagnose/comparison.h"
#include "host/report/comparison_report.h"
#include "host/report/json.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr int kExitInPart = 4;

bool whole(const proto::Comparison& comparison) {
  return comparison.not_compared().empty() && comparison.sessions_size() > 2;
}

std::expected<void, std::string> write(const CompareOptions& options, const proto::Comparison& comparison) {
  if (!options.json.empty()) {
    const auto json = report::to_json(comparison);
    if (!json) return std::unexpected(fmt::format("{}: {}", options.json, json.error()));
    if (const auto written = write_file(options.json, *json); !written) return written;
  }
  if (options.report.empty()) return {};
  return write_file(options.report, report::comparison_html(comparison, data::shipped("texts/report.css").value_or(""),
                                                            data::shipped("texts/caution.txt").value_or("")));
}

}  // namespace

int compare(const CompareOptions& options, Terminal& terminal, const Interrupt& interrupt) {
  if (options.recordings.size() < 2 || options.recordings.size() > diagnose::kSessionsMost) {
    return terminal.complain(fmt::format("compare: name two to {} recordings, in turn as found and changed: A B A",
                                         diagnose::kSessionsMost));
  }
  const std::vector<OutputName> outputs{{"--report", options.report}, {"--json", options.json}};
  if (const auto checked = check_outputs(outputs, options.recordings); !checked) {
    return terminal.complain(checked.error());
  }
  std::vector<proto::SessionResult> results;
  for (const std::string& recording : options.recordings) {
    auto reviewed = read_back({.recording = recording, .judge = options.judge, .files = {}}, terminal, interrupt);
    if (!reviewed) return reviewed.error();
    results.push_back(std::move(reviewed->finished.result));
  }
  const auto comparison = diagnose::compare(results);
  if (!comparison) return terminal.complain("compare: " + comparison.error());
  const auto written = write(options, *comparison);
  terminal.out() << report::comparison_text(*comparison);
  if (!written) return terminal.complain(written.error(), kExitNotFinished);
  const std::string tag = comparison->simulated() ? " (simulated)" : "";
  if (!options.report.empty()) terminal.out() << "Report" << tag << ": " << options.report << '\n';
  if (!options.json.empty()) terminal.out() << "Comparison" << tag << ": " << options.json << '\n';
  return whole(*comparison) ? 0 : kExitInPart;
}

}  // namespace host::app
