// SPDX-License-Identifier: Apache-2.0
// An audit in print: units side by side, then each one's arithmetic and remarks.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "label.pb.h"

namespace host::label {

/// A header and rows of cells, one column a unit, +12 V first, -12 V and +5VSB last.
struct Table {
  std::vector<std::string> header;
  std::vector<std::vector<std::string>> rows;
};

/// The figures of several units beside each other; "-" where a label prints none.
Table side_by_side(std::span<const steadyrail::proto::LabelAudit> audits);

/// Everything behind one verdict, line by line: arithmetic (contradictions marked), sub-rails, remarks with rule number
/// and status, gaps. Ends with a line feed.
std::string details(const steadyrail::proto::LabelAudit& audit);

/// "plausible", "needs explaining", "contradicts itself".
std::string verdict_words(steadyrail::proto::LabelVerdict verdict);

}  // namespace host::label
