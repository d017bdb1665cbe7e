// SPDX-License-Identifier: Apache-2.0
// Remarks on a label, in two families: figures that cannot both hold, and figures that experience asks about.
#pragma once

#include <string>

#include "host/label/audit.h"
#include "host/label/rules.h"
#include "label.pb.h"
#include "unit.pb.h"

namespace host::label {

/// Adds remarks and arithmetic to an audit by the rules.
class Remarks {
 public:
  /// All three must outlive the object.
  Remarks(const steadyrail::proto::Unit& unit, const Rules& rules, steadyrail::proto::LabelAudit& audit)
      : unit_(unit), rules_(rules), audit_(audit) {}

  /// Two printed figures that exclude each other. Needs the powers and sums of the audit.
  void contradictions();
  /// Shares, sums, standby, indicators, what is missing. Needs the powers, sums and shares of the audit.
  void practice(const AuditOptions& options);

 private:
  /// "5 % below 10 %": the remark of a check with its arithmetic; a contradiction also marks the arithmetic.
  void raise(steadyrail::proto::LabelCheck check, const std::string& subject, const std::string& arithmetic);
  void gap(std::string words) { audit_.add_gaps(std::move(words)); }
  double threshold(steadyrail::proto::LabelCheck check) const { return rules_.threshold(check); }
  /// `value` above `limit` by more than the check's margin for rounding.
  bool beyond(steadyrail::proto::LabelCheck check, double value, double limit) const;

  void rails_against_total();
  void sub_rails_against_rail();
  void combined_limits();
  void sum_against_total();
  void inputs();
  void sub_rail_map();
  void share_of_12v();
  void sum_margin();
  void minor_share();
  void standby();
  void total_condition();
  void build();
  void missing();

  const steadyrail::proto::Unit& unit_;
  const Rules& rules_;
  steadyrail::proto::LabelAudit& audit_;
};

}  // namespace host::label
