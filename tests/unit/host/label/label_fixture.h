// SPDX-License-Identifier: Apache-2.0
// Labels to audit, and the verbs to ask about them.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <string_view>

#include "host/label/audit.h"
#include "host/label/label_text.h"
#include "host/label/power.h"
#include "host/label/rules.h"

namespace host::label {

inline const Rules& rules() {
  static const Rules kRules = [] {
    auto read = Rules::shipped();
    if (!read) ADD_FAILURE() << model::to_string(read.error());
    return read.value();
  }();
  return kRules;
}

inline steadyrail::proto::Unit unit_of(std::string_view text) {
  auto unit = unit_from_text(text, "unit.textproto", rules());
  if (!unit) ADD_FAILURE() << model::to_string(unit.error());
  return unit.value_or(steadyrail::proto::Unit{});
}

inline steadyrail::proto::LabelAudit audit_of(std::string_view text, const AuditOptions& options = {}) {
  return audit(unit_of(text), rules(), options);
}

inline const steadyrail::proto::LabelRemark* find_remark(const steadyrail::proto::LabelAudit& audit,
                                                         steadyrail::proto::LabelCheck check) {
  const auto found = std::ranges::find(audit.remarks(), check, &steadyrail::proto::LabelRemark::check);
  return found == audit.remarks().end() ? nullptr : &*found;
}

inline bool remarks_on(const steadyrail::proto::LabelAudit& audit, steadyrail::proto::LabelCheck check) {
  return find_remark(audit, check) != nullptr;
}

// A sound label of round figures by hand: 12 x 60 = 720, 5 x 20 = 100, 3.3 x 20 = 66, 12 x 0.5 = 6, 5 x 3 = 15.
inline constexpr std::string_view kSound = R"(
id: "X-1" edition: "atx-3.0" total_w: 750 total_basis: TOTAL_BASIS_CONTINUOUS total_at_c: 40 date: "2024-05"
efficiency_mark: EFFICIENCY_MARK_PRESENT mass_kg: 1.9 wire_awg: 16
rails { rail: RAIL_P12V amps: 60 }
rails { rail: RAIL_P5V amps: 20 }
rails { rail: RAIL_P3V3 amps: 20 }
rails { rail: RAIL_M12V amps: 0.5 }
rails { rail: RAIL_P5VSB amps: 3 }
combined { rails: [RAIL_P5V, RAIL_P3V3] watts: 120 }
inputs { volts_min: 100 volts_max: 240 amps: 10 }
)";

/// `kSound` with one piece of text replaced by another; the piece must be there.
inline std::string sound_but(std::string_view piece, std::string_view other) {
  std::string text(kSound);
  const auto at = text.find(piece);
  if (at == text.npos) {
    ADD_FAILURE() << "no such piece: " << piece;
    return text;
  }
  return text.replace(at, piece.size(), other);
}

}  // namespace host::label
