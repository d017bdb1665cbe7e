// SPDX-License-Identifier: Apache-2.0
// Which drawings a report shows, and in what order: the worst first, a bounded number of them.
#pragma once

#include <string>

#include "host/report/html_report.h"

namespace host::report {

/// The worst event, when it breaks a limit and has a waveform: it stands in the answer. Empty otherwise.
std::string answer_figure(const ReportInput& input);

/// The worst events that have a waveform, but for the one in the answer.
std::string event_figures(const ReportInput& input);

/// Rails, then currents over the whole session; rails that break a limit first.
std::string overview_figures(const ReportInput& input);

}  // namespace host::report
