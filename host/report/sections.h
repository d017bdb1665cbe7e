// SPDX-License-Identifier: Apache-2.0
// The sections of the report, each the HTML of its body; empty: nothing to say, the section is left out.
#pragma once

#include <string>

#include "host/report/html_report.h"

namespace host::report {

std::string answer_section(const ReportInput& input);
std::string unit_section(const ReportInput& input);
std::string channels_section(const ReportInput& input);
std::string jig_section(const ReportInput& input);
std::string edition_section(const ReportInput& input);
std::string coverage_section(const ReportInput& input);
std::string verdicts_section(const ReportInput& input);
std::string events_section(const ReportInput& input);
std::string steps_section(const ReportInput& input);
std::string resistance_section(const ReportInput& input);
std::string ripple_section(const ReportInput& input);
std::string timing_section(const ReportInput& input);
std::string lock_ups_section(const ReportInput& input);
std::string not_tested_section(const ReportInput& input);
std::string cautions_section(const ReportInput& input);
std::string versions_section(const ReportInput& input);

}  // namespace host::report
