// SPDX-License-Identifier: Apache-2.0
// The rules a label is remarked by: numbers, words and where each comes from, all of it data.
#pragma once

#include <array>
#include <expected>
#include <string>
#include <string_view>
#include <vector>

#include "host/model/text.h"
#include "label.pb.h"

namespace host::label {

class Rules {
 public:
  /// Reads and checks a rules file. Errors, each with its place: syntax, a check with no rule or with two, a number
  /// used twice, a missing weight, words, status or threshold, a threshold that is no figure, a distribution without
  /// total, edition, document or +12, +5 and +3.3 V.
  static std::expected<Rules, model::TextErrors> from_text(std::string_view text, std::string_view file);
  /// The rules compiled into the program.
  static std::expected<Rules, model::TextErrors> shipped();

  const steadyrail::proto::LabelRule& rule(steadyrail::proto::LabelCheck check) const { return by_check_[check]; }
  /// In the unit the check names; 0 for a check that has none.
  double threshold(steadyrail::proto::LabelCheck check) const { return rule(check).threshold(); }
  /// Typical distributions published for an edition; empty when there is none.
  std::vector<const steadyrail::proto::TypicalDistribution*> distributions(std::string_view edition) const;
  /// Watts a rail that is not printed may be taken for at most; 0 for one that must be printed.
  double unprinted_w(steadyrail::proto::Rail rail) const;
  /// "processor" or "processor-2": one of our words for a socket, alone or numbered from 1.
  bool is_socket_name(std::string_view name) const;
  /// The complaint about a name that is none, with those there are.
  std::string unknown_socket(std::string_view name) const;

 private:
  explicit Rules(steadyrail::proto::LabelRules rules);

  steadyrail::proto::LabelRules rules_;
  std::array<steadyrail::proto::LabelRule, steadyrail::proto::LabelCheck_ARRAYSIZE> by_check_;
};

}  // namespace host::label
