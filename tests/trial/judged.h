// SPDX-License-Identifier: Apache-2.0
// One case through the code of `review`: detectors, verdicts, evidence, conclusion. The program is told what a
// recording would tell it, never the kind of the case.
#pragma once

#include <cstdint>
#include <expected>
#include <string>
#include <string_view>

#include "host/app/judging.h"
#include "result.pb.h"
#include "tests/trial/case.h"

namespace trial {

/// What a bench has in front of it: jig, label, edition.
struct Bench {
  host::model::Jig jig;
  host::app::Judging judging;  // the label is the one that cases scale
  std::uint32_t baud = 2'000'000;

  /// The reference jig, unit U-1 and its edition.
  static std::expected<Bench, std::string> create();
};

struct Judged {
  steadyrail::proto::SessionResult result;
  Truth truth;
  Expected expected;
  double cpu_s = 0;            // of this thread
  double generated_cpu_s = 0;  // of it for the generator
};

/// Draws, generates and judges.
std::expected<Judged, std::string> judge_case(const Bench& bench, std::string_view kind, const Case& one);

}  // namespace trial
