// SPDX-License-Identifier: Apache-2.0
// Checks of what goes through the jig: cross-talk between groups, straight-through pins, skew, sample clock.
#pragma once

#include "host/selftest/readings.h"

namespace host::selftest {

void check_signals(const Readings& readings, steadyrail::proto::SelfTestReport& report);

}  // namespace host::selftest
