# SPDX-License-Identifier: Apache-2.0
"""A rectangular dip behind real poles, sampled: closed forms, no filter library.

Step response of two equal poles: 1 - (1 + t/tau) e^(-t/tau). Of poles that all differ: 1 - sum of A_k e^(-p_k t),
A_k = product over j != k of p_j / (p_j - p_k).
"""

import numpy as np


def step_response(poles_hz):
    p = 2 * np.pi * np.asarray(poles_hz)

    def two_equal(t):
        x = np.maximum(t, 0) * p[0]
        return 1 - (1 + x) * np.exp(-x)

    def all_different(t):
        t = np.maximum(t, 0)
        return 1 - sum(np.prod([p[j] / (p[j] - p[k]) for j in range(len(p)) if j != k]) * np.exp(-p[k] * t)
                       for k in range(len(p)))

    return two_equal if len(p) == 2 and p[0] == p[1] else all_different


def worst_fraction(poles_hz, scan_rate_hz, width_s):
    """Least, over all phases of sampling, of the greatest sampled fraction of a dip of this width.

    First among 2,001 phases, then among 2,001 between the neighbours of the best: 6e-8 of a scan.
    """
    response = step_response(poles_hz)
    period = 1 / scan_rate_hz
    scans = np.arange(int(np.ceil(width_s / period)) + 40) * period
    low, high = 0.0, period
    for _ in range(2):
        phases = np.linspace(low, high, 2001)
        t = phases[:, None] + scans[None, :]
        shown = (response(t) - response(t - width_s)).max(axis=1)
        worst = int(shown.argmin())
        low, high = phases[max(0, worst - 1)], phases[min(2000, worst + 1)]
    return float(shown[worst])


def alias(tone_hz, scan_rate_hz):
    return abs(tone_hz - round(tone_hz / scan_rate_hz) * scan_rate_hz)
