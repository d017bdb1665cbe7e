// SPDX-License-Identifier: Apache-2.0
// The answer in plain words, for a customer: what was asked, what was found, how sure it is, what was not tested. The
// report begins with it and so does the summary on the terminal.
#pragma once

#include <string>
#include <vector>

#include "result.pb.h"

namespace host::report {

struct Answer {
  std::string headline;    // one sentence, or two when the supply went off
  std::string conclusion;  // its word and what it means for the customer; empty: nothing was concluded
  std::vector<std::string> rests_on;
  std::vector<std::string> next_steps;
  std::string asked;               // the question in the user's words, or that none was given
  std::vector<std::string> found;  // worst first
  std::vector<std::string> how_sure;
  std::vector<std::string> not_tested;  // what this result leaves open
};

/// How many verdicts came out which way; those without an occasion, and ripple
/// that this jig could not fail, are left out.
struct Tally {
  int pass = 0;
  int fail = 0;
  int undecided = 0;
  int not_tested = 0;
  int all() const { return pass + fail + undecided + not_tested; }
};

Tally tally(const steadyrail::proto::SessionResult& result);

Answer answer(const steadyrail::proto::SessionResult& result);

/// Whether a verdict counts for the answer: the session gave an occasion for it.
bool is_counted(const steadyrail::proto::Verdict& verdict);

/// Whether a verdict holds a measured value at all: none was judged, or nothing was seen to judge, otherwise.
bool has_value(const steadyrail::proto::Verdict& verdict);

/// What the program ends with: 0 every verdict passes, 1 one fails, 4 none fails but one is open (or none was reached).
int exit_code(const steadyrail::proto::SessionResult& result);

/// "+12V at graphics-1": where a verdict or an event was measured.
std::string place(const std::string& rail, const std::string& channel);

}  // namespace host::report
