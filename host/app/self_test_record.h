// SPDX-License-Identifier: Apache-2.0
// Where the latest self-test of a jig is kept between two calls of the program, and whether it still holds. The host
// keeps it: the jig does not know what its description promises.
#pragma once

#include <expected>
#include <string>

#include "host/model/jig.h"
#include "link.pb.h"
#include "self_test.pb.h"

namespace host::app {

/// $XDG_STATE_HOME/steadyrail, else ~/.local/state/steadyrail: self-test-ID.textproto; "-virtual" for a simulated jig.
std::string self_test_file(const std::string& jig_id, bool simulated);

/// Of the description as the self-test looks at it: everything but calibration and budgets.
std::string built_sha256(const model::Jig& jig);

std::expected<void, std::string> keep_self_test(const std::string& file,
                                                const steadyrail::proto::SelfTestReport& report);

/// Why the load bank may not be armed; empty: a self-test of this jig passed since it was switched on, with this
/// firmware and this description.
std::string self_test_refusal(const std::string& file, const model::Jig& jig, const steadyrail::proto::Hello& hello,
                              std::uint32_t boot);

}  // namespace host::app
