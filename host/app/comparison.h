// SPDX-License-Identifier: Apache-2.0
// A jig beside a reference meter, point by point: what `calibrate` and `verify` share.
#pragma once

#include <cstddef>
#include <cstdint>
#include <expected>
#include <optional>
#include <string>
#include <vector>

#include "calibration.pb.h"
#include "host/app/interrupt.h"
#include "host/app/line_input.h"
#include "host/app/terminal.h"
#include "host/app/verb_calibrate.h"
#include "host/calibrate/plan.h"
#include "host/calibrate/readings.h"
#include "host/link/session.h"
#include "host/model/jig.h"

namespace host::app {

struct Compared {
  model::Jig jig;
  steadyrail::proto::Meter meter;
  std::vector<calibrate::TypedReading> readings;  // empty: typed
  std::vector<std::string> channels;              // asked for, in the jig's order
};

/// Descriptions and readings, checked. The error is for the user.
std::expected<Compared, std::string> load_comparison(const ComparisonOptions& options);

link::SessionOptions line_of(const ComparisonOptions& options, const model::Jig& jig, const Interrupt& interrupt);

enum class Reply : std::uint8_t { kReading, kAgain, kSkip, kEnd };

struct Told {
  Reply reply = Reply::kEnd;
  double reading = 0;
};

/// Asks for the meter's reading at one stop of the programme after the other: at the prompt, or out of a file.
class Guide {
 public:
  Guide(Terminal& terminal, LineInput& input, const std::vector<calibrate::TypedReading>& readings, std::string file)
      : terminal_(terminal), input_(input), readings_(readings), file_(std::move(file)) {}

  /// Stops that earlier runs have taken: their readings in the file are passed over.
  void pass_over(std::size_t steps) { next_ = steps; }
  void take_back() { next_ -= next_ > 0 ? 1 : 0; }
  /// `number` of `count`, from 1. A reading of another channel than the stop's is an error.
  std::expected<Told, std::string> ask(const calibrate::Step& step, std::size_t number, std::size_t count);

 private:
  Terminal& terminal_;
  LineInput& input_;
  const std::vector<calibrate::TypedReading>& readings_;
  std::string file_;
  std::size_t next_ = 0;
};

/// "2026-05-17", today in UTC.
std::string today();

}  // namespace host::app
