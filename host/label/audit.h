// SPDX-License-Identifier: Apache-2.0
// The audit of a label: its arithmetic, its contradictions, and what the rules remark.
#pragma once

#include <optional>

#include "host/label/rules.h"
#include "label.pb.h"
#include "unit.pb.h"

namespace host::label {

struct AuditOptions {
  std::optional<double> need_12v_a;  // what the PC asks of +12 V
};

/// The whole audit. `unit` must have passed check_unit(). Every remark carries its rule's number and status and the
/// arithmetic behind it; what could not be worked out stands under gaps, never as a silent pass.
/// Verdict: contradicts-itself with any contradiction; needs-explaining with any `ask` or `warn`; else plausible.
steadyrail::proto::LabelAudit audit(const steadyrail::proto::Unit& unit, const Rules& rules,
                                    const AuditOptions& options = {});

}  // namespace host::label
