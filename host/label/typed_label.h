// SPDX-License-Identifier: Apache-2.0
// A label typed on the command line, and the unit file it becomes.
#pragma once

#include <expected>
#include <string>
#include <vector>

#include "host/label/rules.h"
#include "host/model/text.h"
#include "unit.pb.h"

namespace host::label {

/// The words as typed; empty where nothing was. Figures use a decimal point.
struct TypedLabel {
  std::string id{};
  std::string total{};                  // 570
  std::string basis{};                  // continuous or peak
  std::vector<std::string> rails{};     // 12=23.5, 5=33, 3.3=31, -12=0.3, 5sb=2.3
  std::string standby{};                // 2.3: +5VSB
  std::vector<std::string> combined{};  // 5+3.3=120
  std::vector<std::string> inputs{};    // 230=5 or 100-240=9
  std::string edition{};
  std::string date{};
  std::string mark{};      // present, absent or not-looked
  std::string mass_kg{};   // 1.8
  std::string wire_awg{};  // 18
};

/// A unit from what was typed, checked as a file would be. Errors name the words they are about.
std::expected<steadyrail::proto::Unit, model::TextErrors> unit_from_typed(const TypedLabel& typed, const Rules& rules);

/// Writes a new file. Error: it exists (nothing is ever overwritten), or what the system said; nothing half written is
/// left.
std::expected<void, std::string> save_new(const std::string& text, const std::string& path);

/// Writes a unit file that unit_from_text() reads back. Errors of save_new().
std::expected<void, std::string> save_unit(const steadyrail::proto::Unit& unit, const std::string& path);

}  // namespace host::label
