// SPDX-License-Identifier: Apache-2.0
// A session made by hand for the tests of the report: jig J-01, unit U-1, one loose connector. Every figure is
// invented.
#pragma once

#include <string>

#include "host/report/html_report.h"
#include "jig.pb.h"
#include "limits.pb.h"
#include "result.pb.h"
#include "unit.pb.h"

namespace host::report {

struct HandMadeSession {
  HandMadeSession();
  /// The report's input over this session; the session must outlive it.
  ReportInput input() const;

  steadyrail::proto::SessionResult result;
  steadyrail::proto::Drawings drawings;
  steadyrail::proto::JigDescription jig;
  steadyrail::proto::Unit unit;
  steadyrail::proto::LimitSet limits;
};

}  // namespace host::report
