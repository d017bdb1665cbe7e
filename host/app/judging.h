// SPDX-License-Identifier: Apache-2.0
// Descriptions named on a command line, loaded and checked: the jig, the supply's label, the edition of limits.
#pragma once

#include <expected>
#include <optional>
#include <string>
#include <vector>

#include "host/app/options.h"
#include "host/detect/review.h"
#include "host/model/jig.h"
#include "host/model/limit_sets.h"
#include "host/model/named_text.h"
#include "unit.pb.h"

namespace host::app {

std::expected<model::Jig, std::string> load_jig(const std::string& name);

/// A unit that ships ("u-1") or a file; its rails, amps and watts are checked for contradictions with themselves.
std::expected<steadyrail::proto::Unit, std::string> load_unit(const std::string& name);

/// The text of a description that ships in `folder`, or of a file; `what` it is called in the complaint about a name
/// that is neither.
std::expected<model::NamedText, std::string> load_text(std::string_view folder, std::string_view what,
                                                       const std::string& name);

/// An edition that ships or a file; a mistyped name gets the nearest one as a hint.
std::expected<model::LimitEdition, std::string> load_edition(const std::string& name);

/// By what a session is judged.
struct Judging {
  std::optional<steadyrail::proto::Unit> unit;
  std::optional<model::LimitEdition> limits;  // none: nothing is judged
};

/// What `options` names; where they name no edition, the one that the unit they name claims, then `recorded_edition`,
/// then what the recorded unit claims. There is no default. The error is a sentence (or lines of file:line:column) for
/// the user.
std::expected<Judging, std::string> load_judging(const JudgeOptions& options,
                                                 const std::optional<steadyrail::proto::Unit>& recorded_unit,
                                                 const std::string& recorded_edition);

/// What the detectors need of it.
detect::ReviewOptions detectors(const Judging& judging);

/// Sentences the reader of a result needs beside its verdicts: a label that contradicts itself; limits for connectors
/// that `jig` does not have.
std::vector<std::string> doubts(const Judging& judging, const steadyrail::proto::JigDescription& jig);

}  // namespace host::app
