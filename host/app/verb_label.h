// SPDX-License-Identifier: Apache-2.0
// `label`: what is printed on a supply's case, added up.
#pragma once

#include <string>
#include <vector>

#include "host/app/terminal.h"
#include "host/label/typed_label.h"

namespace CLI {  // NOLINT(readability-identifier-naming): the library's own name
class App;
}

namespace host::app {

struct LabelOptions {
  std::vector<std::string> units;  // shipped names or files, side by side
  label::TypedLabel typed;         // instead of a file
  std::string save;                // where the typed label goes; empty: nowhere
  std::string need_12v;            // A the PC asks of +12 V; empty: not held against any
  std::string system;              // the PC to feed, shipped name or file; empty: none
  std::string programme;           // where a load programme for the bench goes; empty: nowhere
  std::string jig = "reference";   // whose load bank it is for
  std::string rules;               // empty: the rules that ship
  bool json = false;
};

/// Options of the verb, with what they mean.
void declare_label(CLI::App& verb, LabelOptions& options);

/// Exit status: 0 every label is plausible and, where a PC is named, enough for it; 1 one contradicts itself or is not
/// enough; 4 neither, but one needs explaining or is doubtful; 2 wrong use or input (every bad file is named); 3 a file
/// could not be written.
int label(const LabelOptions& options, Terminal& terminal);

}  // namespace host::app
