// SPDX-License-Identifier: Apache-2.0
// The report: one HTML file that needs nothing else, no script and no reference to the outside, made to be printed.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "jig.pb.h"
#include "limits.pb.h"
#include "result.pb.h"
#include "unit.pb.h"

namespace host::report {

/// What a dip of this width shows at worst, as a share of its true depth, through the jig's filters and sampling.
struct UnderRead {
  double width_s = 0;
  double worst_fraction = 0;
};

/// All that a report is made of; pointers may be null where the session has no such thing, and outlive the call.
struct ReportInput {
  const steadyrail::proto::SessionResult* result = nullptr;  // never null
  const steadyrail::proto::Drawings* drawings = nullptr;
  const steadyrail::proto::JigDescription* jig = nullptr;
  const steadyrail::proto::Unit* unit = nullptr;
  const steadyrail::proto::LimitSet* limits = nullptr;
  std::vector<UnderRead> under_reads;
  std::string hook_up;  // how the hook-up order was confirmed; empty: nothing was hooked up
  std::string_view caution;
  std::string_view style;  // CSS
};

/// The whole file. Sections come in one order and are left out when they have nothing to say; a simulated session says
/// so in the title, in every section's heading and at the head of every printed page. Its size is bounded whatever the
/// session held: what is not drawn or listed is counted.
std::string html_report(const ReportInput& input);

}  // namespace host::report
