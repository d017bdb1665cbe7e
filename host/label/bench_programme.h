// SPDX-License-Identifier: Apache-2.0
// A load programme for the bench, from a label: levels that tell a resistance, and the steps of the edition it claims.
#pragma once

#include <expected>
#include <string>
#include <vector>

#include "host/model/jig.h"
#include "limits.pb.h"
#include "programme.pb.h"
#include "system.pb.h"
#include "unit.pb.h"

namespace host::label {

struct BenchProgramme {
  steadyrail::proto::LoadProgramme programme;
  std::vector<std::string> gaps;  // what the bank cannot give, a sentence each
};

/// For every rail of the jig's load bank five settled levels, evenly spread and spanning 3:1 or more, 30 edges each way
/// at each, 20 ms between edges; then the edition's load steps, as near to their size as branches allow and never above
/// it, at the least repetition published and at 1 kHz. Nothing goes above what the bank stands or the label prints.
/// `limits` null: no edition is known, no steps. `system` (may be null) gives the currents of processor and card that
/// some steps are a share of. Error: no load bank, or no level within the label.
std::expected<BenchProgramme, std::string> bench_programme(const model::Jig& jig, const steadyrail::proto::Unit& unit,
                                                           const steadyrail::proto::LimitSet* limits,
                                                           const steadyrail::proto::System* system);

/// The programme as a file, with its gaps as comments.
std::string programme_text(const BenchProgramme& bench);

}  // namespace host::label
