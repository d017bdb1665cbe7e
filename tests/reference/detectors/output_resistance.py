# SPDX-License-Identifier: Apache-2.0
"""Effective output resistance from the definition: Theil-Sen over settled points, with the rank interval.

R = -median of (V_j - V_i)/(I_j - I_i) over all pairs at least 0.5 A apart; no-load voltage = median(V + R I). Interval:
Sen (1968): slopes ranked (N -+ z sigma)/2 from the ends. sigma^2 is the variance of the sum of signs of all pairs that
are compared, were there no slope: signs of two pairs that share a point have the covariance 1/3 when it is the lower
(or the upper) point of both, -1/3 when of one only; with every pair compared that is n (n - 1)(2 n + 5)/18.
"""

import numpy as np

LEAST_A = 0.5
Z_95 = 1.959963984540054  # normal quantile of 0.975; any table of the normal distribution prints 1.960


def output_resistance(amps, volts):
    amps, volts = np.asarray(amps, float), np.asarray(volts, float)
    i, j = np.triu_indices(len(amps), 1)
    run = amps[j] - amps[i]
    far = np.abs(run) >= LEAST_A
    slopes = np.sort((volts[j] - volts[i])[far] / run[far])
    slope = float(np.median(slopes))
    later = (amps[None, :] - amps[:, None]) >= LEAST_A
    above, below = later.sum(axis=1), later.sum(axis=0)
    variance = later.sum() + np.sum((above - below) ** 2 - (above + below)) / 3
    reach = Z_95 * np.sqrt(variance)
    low = max(int(np.round((len(slopes) - reach) / 2)) - 1, 0)
    high = min(int(np.round((len(slopes) + reach) / 2)), len(slopes) - 1)
    return {"ohm": -slope, "low_ohm": -float(slopes[high]), "high_ohm": -float(slopes[low]),
            "open_v": float(np.median(volts - slope * amps)), "slopes": slopes}
