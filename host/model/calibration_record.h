// SPDX-License-Identifier: Apache-2.0
// A calibration as the jig keeps it: whole numbers in one record that fits its flash.
#pragma once

#include <cstddef>
#include <expected>
#include <span>
#include <string>

#include "jig.pb.h"

namespace host::model {

inline constexpr std::size_t kCalibrationRecordBytesMax = 960;  // what a jig keeps (proto/wire.md)

/// The calibration of `description` with every figure as the record holds it. Certificates and the jig then say the
/// same to the last digit.
steadyrail::proto::Calibration as_recorded(const steadyrail::proto::JigDescription& description);

/// Content of the record for the calibration of `description`; its id stands beside the content in the jig. Errors: a
/// figure beyond what the record can hold, dates that are none, more bytes than a jig keeps.
std::expected<std::string, std::string> calibration_record(const steadyrail::proto::JigDescription& description);

/// The calibration that `content` holds, for the channels of `description`. Errors: no record of this make, a channel
/// that the description does not have, or a description whose names or nominal scales are not those it was made for.
std::expected<steadyrail::proto::Calibration, std::string> read_calibration_record(
    const std::string& id, std::span<const std::byte> content, const steadyrail::proto::JigDescription& description);

}  // namespace host::model
