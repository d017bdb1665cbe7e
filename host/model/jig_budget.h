// SPDX-License-Identifier: Apache-2.0
// The contributors to a channel's uncertainty, as a description lists them.
#pragma once

#include <string_view>

#include "host/model/text.h"
#include "jig.pb.h"

namespace host::model {

/// Standard uncertainty at the connector, V or A: width over the divisor of its distribution (JCGM 100, 4.3.7 to 4.3.9;
/// arcsine: H.1.6), times the sensitivity. 0 of an unknown distribution.
double standard_uncertainty(const steadyrail::proto::Contributor& contributor);

/// The list that names `channel`; nullptr: none does.
const steadyrail::proto::ChannelBudget* budget_of(const steadyrail::proto::JigDescription& description,
                                                  std::string_view channel);

/// As a recording carries it: without the lists, which would not fit its header. What they combine to, u_other and its
/// parts, stays, and nothing else of them is judged by.
steadyrail::proto::JigDescription for_recording(steadyrail::proto::JigDescription description);

/// What the lists may not say: a channel that is not there or in two lists, a contributor without name, evaluation or
/// distribution, and contributors that do not combine to what the calibration claims for the channel.
TextErrors budget_contradictions(const steadyrail::proto::JigDescription& description, const Place& place);

}  // namespace host::model
