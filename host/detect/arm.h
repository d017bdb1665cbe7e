// SPDX-License-Identifier: Apache-2.0
// What the jig is armed with for an edition: the very codes the review compares with.
#pragma once

#include "host/model/jig.h"
#include "host/model/units.h"
#include "limits.pb.h"
#include "link.pb.h"

namespace host::detect {

/// Names the one set of armed limits a session uses.
inline constexpr std::uint32_t kArmedSet = 1;

/// Limits of every rail channel of the edition, both sides, and the thresholds whose crossings are stamped: 10 % and 95
/// % of nominal and the low limit of every rail, 0.4 and 2.4 V of PWR_OK, 0.8 and 2.0 V of PS_ON#. Without `limits`
/// only thresholds. At most 48 of each, as the chip holds; the logic lines come first.
steadyrail::proto::Arm arm_limits(const model::Jig& jig, const steadyrail::proto::LimitSet* limits);

/// The jig's channel for PWR_OK or PS_ON#; nullptr where it has none.
const model::JigChannel* pwr_ok_channel(const model::Jig& jig);
const model::JigChannel* ps_on_channel(const model::Jig& jig);

// Levels of the control signals: TTL, as the design guides define them (ATX12V guide 2.0, sections 3.3.1 and 3.3.2,
// from memory).
inline constexpr model::Microvolts kPwrOkLow{400000};
inline constexpr model::Microvolts kPwrOkHigh{2400000};
inline constexpr model::Microvolts kPsOnLow{800000};
inline constexpr model::Microvolts kPsOnHigh{2000000};

}  // namespace host::detect
