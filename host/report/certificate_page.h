// SPDX-License-Identifier: Apache-2.0
// Certificates of calibrations and verifications, one HTML file each.
#pragma once

#include <string>
#include <string_view>

#include "calibration.pb.h"

namespace host::report {

/// `style`: the sheet to carry inside. Simulated ones say so in the title, in every section and on every printed page.
std::string certificate_page(const steadyrail::proto::CalibrationCertificate& certificate, std::string_view style);
std::string certificate_page(const steadyrail::proto::VerificationCertificate& certificate, std::string_view style);

}  // namespace host::report
