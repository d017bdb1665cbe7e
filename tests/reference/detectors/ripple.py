# SPDX-License-Identifier: Apache-2.0
"""The bound on ripple from the definition, with the factor for the noise's own peak to peak integrated here.

Expected range of N normal deviates: d2(N) = integral of 1 - F^N - (1 - F)^N; the control-chart tables of ISO 7870-2
print d2(2) = 1.128, d2(5) = 2.326, d2(10) = 3.078, d2(25) = 3.931.
"""

import math

import numpy as np


def d2(count):
    x = np.linspace(-9, 9, 36001)
    below = 0.5 * np.array([math.erfc(-each / math.sqrt(2)) for each in x])
    return float(np.trapz(1 - below**count - (1 - below) ** count, x))


def ranges(volts, per_window):
    """Peak to peak of each whole window."""
    windows = np.asarray(volts)[: len(volts) // per_window * per_window].reshape(-1, per_window)
    return windows.max(axis=1) - windows.min(axis=1)


def lower_bound(pp, sigma, count):
    """What is left of a peak-to-peak value when noise is taken out in squares."""
    noise = d2(count) * sigma
    return math.sqrt(max(0.0, pp * pp - noise * noise))


def tone_amplitude(volts, rate_hz, tone_hz):
    """Amplitude of one line: the sum Goertzel's recursion computes, written out."""
    n = np.arange(len(volts))
    return 2 / len(volts) * abs(np.sum(np.asarray(volts) * np.exp(-2j * np.pi * tone_hz / rate_hz * n)))


def high_pass(volts, rate_hz, corner_hz=10.0):
    """Second-order Butterworth high-pass by the bilinear transform, settled on the first value."""
    k = math.tan(math.pi * corner_hz / rate_hz)
    norm = 1 / (1 + math.sqrt(2) * k + k * k)
    b = (norm, -2 * norm, norm)
    a = (2 * (k * k - 1) * norm, (1 - math.sqrt(2) * k + k * k) * norm)
    out = np.empty(len(volts))
    x1 = x2 = volts[0]
    y1 = y2 = 0.0
    for n, x in enumerate(volts):
        y = b[0] * x + b[1] * x1 + b[2] * x2 - a[0] * y1 - a[1] * y2
        out[n], x1, x2, y1, y2 = y, x, x1, y, y1
    return out
