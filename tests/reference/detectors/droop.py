# SPDX-License-Identifier: Apache-2.0
"""What a load step does to a voltage, from the definition.

Before: mean of the 32 samples before the step. Settled: mean of the last millisecond (32 samples) before the next step.
Extreme: least (rising load) or greatest sample from the step on. Recovery: samples until the band round the settled
level is entered for good.
"""

import numpy as np


def droop(volts, step, following, rising, band):
    before = float(np.mean(volts[step - 32 : step]))
    settled = float(np.mean(volts[following - 32 : following]))
    after = np.asarray(volts[step:following])
    at = int(np.argmin(after) if rising else np.argmax(after))
    sign = 1 if rising else -1
    outside = np.flatnonzero(np.abs(after - settled) > band)
    return {"before": before, "settled": settled, "extreme": float(after[at]), "extreme_at": step + at,
            "deviation": sign * (before - float(after[at])), "shift": sign * (before - settled),
            "undershoot": sign * (settled - float(after[at])), "minimum_scans": at,
            "recovery_scans": int(outside[-1]) + 1 if len(outside) else 0}
