// SPDX-License-Identifier: Apache-2.0
// What each kind of plug may carry: published values, all of it data.
#pragma once

#include <expected>
#include <string>
#include <string_view>

#include "host/model/text.h"
#include "system.pb.h"

namespace host::label {

class Plugs {
 public:
  /// The classes compiled into the program. Errors, each with its place: syntax, a kind missing or given twice, a class
  /// without title, family, circuits or a positive rating of its terminals.
  static std::expected<Plugs, model::TextErrors> shipped();
  static std::expected<Plugs, model::TextErrors> from_text(std::string_view text, std::string_view file);

  /// Every kind but unknown has one.
  const steadyrail::proto::PlugClass& of(steadyrail::proto::PlugKind kind) const { return classes_.classes(kind - 1); }
  /// Circuits of a rail in a kind of plug; 0 where it carries none.
  std::uint32_t circuits(steadyrail::proto::PlugKind kind, steadyrail::proto::Rail rail) const;
  /// Percent of its class a card may take for `duration_s`; 100 for longer than the table knows.
  double card_percent(double duration_s) const;
  const steadyrail::proto::PlugValue& card_percent_from() const { return classes_.card_excursions_from(); }

 private:
  explicit Plugs(steadyrail::proto::PlugClasses classes) : classes_(std::move(classes)) {}
  steadyrail::proto::PlugClasses classes_;  // in the order of their kinds
};

/// "graphics" of "graphics-2": what a socket is for.
std::string_view family_of(std::string_view socket);

}  // namespace host::label
