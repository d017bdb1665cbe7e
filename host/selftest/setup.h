// SPDX-License-Identifier: Apache-2.0
// Source, relays and test plugs of one jig, checked against its description.
#pragma once

#include <expected>
#include <string_view>

#include "host/model/jig.h"
#include "host/model/text.h"
#include "self_test.pb.h"

namespace host::selftest {

/// Errors, each with its place: syntax; another jig; a channel or link output that is not there or twice; levels that
/// are not three to eight, rising from 0; resistances, bounds and tolerances that are not positive.
std::expected<steadyrail::proto::TestSetup, model::TextErrors> setup_from_text(std::string_view text,
                                                                               std::string_view file,
                                                                               const model::Jig& jig);

/// Converter ("m", "p", ...) of a channel: the isolation group it belongs to.
char group_of(const model::Jig& jig, std::size_t channel);

/// Converter volts of a code.
double converter_volts(const steadyrail::proto::TestSetup& setup, double code);

}  // namespace host::selftest
