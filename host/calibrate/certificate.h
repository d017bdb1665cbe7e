// SPDX-License-Identifier: Apache-2.0
// What a calibration found, as a document and as the jig keeps it.
#pragma once

#include <expected>
#include <string>

#include "calibration.pb.h"
#include "host/model/jig.h"

namespace host::calibrate {

struct Certified {
  steadyrail::proto::CalibrationCertificate certificate;  // firmware and `stored` are the caller's to fill
  /// The description with the new calibration, every figure as the jig's record holds it. Without a calibrated channel:
  /// no calibration at all.
  steadyrail::proto::JigDescription jig;
  int calibrated = 0;  // channels
  int refused = 0;
};

/// Of every comparable channel of the jig: those asked for by their points, the others "uncalibrated". Coefficients are
/// those of the record. The meter's own calibration must hold on `day`. Error: the meter's does not, or the figures
/// do not fit the record.
std::expected<Certified, std::string> certify(const model::Jig& jig,
                                              const steadyrail::proto::CalibrationProgress& progress);

/// Months until a calibration is due: a year, half a year for any build but "precise" (common practice, no source).
unsigned months_until_due(const steadyrail::proto::JigDescription& jig);

}  // namespace host::calibrate
