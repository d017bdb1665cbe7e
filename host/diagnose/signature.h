// SPDX-License-Identifier: Apache-2.0
// What a loss of PWR_OK looked like: the first rule that fits, the runner-up and the facts. Rules by the order of what
// went are common practice, no source; the words for PWR_OK and its warning follow the ATX design guides.
#pragma once

#include <cstdint>

#include "result.pb.h"

namespace host::diagnose {

/// `shutdown`: an event of that kind; `first` says what went first. `mains_watched`: the jig has an AC-present channel.
steadyrail::proto::ShutdownRead read_shutdown(const steadyrail::proto::EventResult& shutdown, bool mains_watched);

/// Whether the measured load just before stood above the label, inside it, or neither surely.
enum class Demand : std::uint8_t { kUnknown, kInside, kUnclear, kAbove };
Demand demand(const steadyrail::proto::EventResult& shutdown);

/// The conclusion a signature points to; not-shown where it says nothing against supply, wiring or mains.
steadyrail::proto::Conclusion points_to(steadyrail::proto::Signature signature);

}  // namespace host::diagnose
