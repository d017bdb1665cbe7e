// SPDX-License-Identifier: Apache-2.0
// What goes with a conclusion: its limits, what to do next, words for the customer. Common practice, no source.
#pragma once

#include "host/diagnose/conclusion.h"
#include "host/diagnose/findings.h"

namespace host::diagnose {

/// Fills does_not_exclude, would_change_it, next_steps and plain_words.
void advise(steadyrail::proto::Conclusion conclusion, const Findings& found, const Surroundings& surroundings,
            steadyrail::proto::Diagnosis& diagnosis);

}  // namespace host::diagnose
