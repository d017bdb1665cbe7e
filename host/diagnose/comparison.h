// SPDX-License-Identifier: Apache-2.0
// Sessions in turn as found (A) and changed (B): what the change did, beyond what the same jig cannot tell.
#pragma once

#include <expected>
#include <span>
#include <string>

#include "comparison.pb.h"
#include "result.pb.h"

namespace host::diagnose {

inline constexpr std::size_t kSessionsMost = 9;

/// `results` in turn A, B, A ...; two to kSessionsMost of them. The error is a sentence for the user: too few or too
/// many, one recording twice, a simulated session beside a measured one.
///
/// Offsets and scale errors of one jig under one calibration are common to all sessions: a difference leaves them out,
/// so that its uncertainty is less than that of either figure. Where jig or calibration differ no voltage is compared.
std::expected<steadyrail::proto::Comparison, std::string> compare(
    std::span<const steadyrail::proto::SessionResult> results);

}  // namespace host::diagnose
