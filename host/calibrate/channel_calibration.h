// SPDX-License-Identifier: Apache-2.0
// From the points of one channel to its coefficients, what they are worth, and whether they may be used.
#pragma once

#include <span>
#include <string>

#include "calibration.pb.h"
#include "host/model/jig.h"

namespace host::calibrate {

/// Greatest share of the value that U may be for the class a build claims: 0.15 % "precise", 0.25 % any other (four to
/// one against 1 %). Own classes; the ratio of four is common practice, no source.
double class_share(const steadyrail::proto::JigDescription& jig);

/// Weighted least squares of reference against nominal reading, with covariance; then everything that may speak against
/// it. `outcome` "calibrated" or "refused" with the reason, "uncalibrated" where there are no points. Refused: fewer
/// than five different levels, not up and down, a rail's range not covered, a negative gain, a gain that is no
/// correction, a reading beyond the meter's ranges, a mean at the end of the converter's range, residuals that are not
/// noise where that matters, U beyond the class. `points`: of this channel, in the order taken.
steadyrail::proto::ChannelCertificate calibrate_channel(const model::Jig& jig, const model::JigChannel& channel,
                                                        const steadyrail::proto::Meter& meter,
                                                        std::span<const steadyrail::proto::CalibrationPoint> points,
                                                        double class_share);

/// What the jig and its description keep of a calibrated channel: the parts of u_other from the description's lists,
/// the burden as the description has it.
steadyrail::proto::ChannelCalibration entry_of(const steadyrail::proto::ChannelCertificate& certificate,
                                               const steadyrail::proto::JigDescription& jig);

}  // namespace host::calibrate
