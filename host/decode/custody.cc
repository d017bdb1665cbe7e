// SPDX-License-Identifier: Apache-2.0
#include "host/decode/custody.h"

#include "host/model/day.h"

namespace host::decode {
namespace {

namespace proto = steadyrail::proto;

/// By the jig's own word.
std::string foreign(const proto::Calibration& calibration, const std::string& described, const proto::Hello* hello) {
  if (hello != nullptr && hello->calibration_id().empty()) {
    return "the jig holds no calibration: " + calibration.id() + " was never stored in it";
  }
  if (hello != nullptr && hello->calibration_id() != calibration.id()) {
    return "the jig holds calibration " + hello->calibration_id() + ", the recording was made with " + calibration.id();
  }
  const std::string& owner = calibration.jig_id().empty() ? described : calibration.jig_id();
  const std::string& jig = hello != nullptr ? hello->jig_id() : described;
  return owner == jig ? "" : "calibration " + calibration.id() + " belongs to jig " + owner + ", this is " + jig;
}

std::string outdated(const proto::Calibration& calibration, std::uint64_t started_utc_us) {
  if (started_utc_us == 0) return {};
  const auto due = model::day_of(calibration.due());
  if (!due) return "calibration " + calibration.id() + " names no due date";
  const auto day = model::day_of(model::HostTime{std::chrono::microseconds(started_utc_us)});
  const std::string recorded = "the recording is of " + model::day_text(day);
  if (day > *due) return "calibration " + calibration.id() + " was due on " + calibration.due() + ", " + recorded;
  const auto date = model::day_of(calibration.date());
  if (date && *date > day) {
    return "calibration " + calibration.id() + " is dated " + calibration.date() + ", " + recorded +
           ": a clock is wrong";
  }
  return {};
}

}  // namespace

std::string calibration_doubt(const proto::RecordingHeader& header, const proto::Hello* hello) {
  if (!header.has_jig()) return {};
  const proto::Calibration& calibration = header.jig().calibration();
  if (calibration.channels().empty()) {
    const bool other = hello != nullptr && !hello->calibration_id().empty();
    return other ? "the jig holds calibration " + hello->calibration_id() + ", the recording was made without one"
                 : "the jig holds no calibration";
  }
  std::string doubt = foreign(calibration, header.jig().id(), hello);
  return doubt.empty() ? outdated(calibration, header.started_utc_us()) : doubt;
}

}  // namespace host::decode
