# SPDX-License-Identifier: Apache-2.0
"""Load steps of a current trace from their definition.

D[n] = mean(i[n+G .. n+G+N-1]) - mean(i[n-N .. n-1]). A step stands where |D| exceeds both the least step and six standard
deviations of D (sigma sqrt(2/N)) and is the greatest within N + G on either side; of a plateau its middle, the lower
index of an even number. Noise in whole codes can part a plateau in two of the very same height: within N + G of each
other they are one edge, and the first stands for it. Its size is D there. 10, 50 and 90 % are crossings interpolated between samples: the middle one
first, the outer two next to it on either side.
"""

import numpy as np


def differences(amps, span, gap):
    """D[n] for n = span .. len - gap - span, and that first n."""
    total = np.concatenate([[0.0], np.cumsum(amps)])
    n = np.arange(span, len(amps) - gap - span + 1)
    after = total[n + gap + span] - total[n + gap]
    before = total[n] - total[n - span]
    return (after - before) / span, span


def crossing(amps, level, rising, from_index, to_index, last):
    """Place where the samples reach `level` between two indices; the last such place if asked, else the first."""
    signed = (amps - level) if rising else (level - amps)
    hits = [k for k in range(max(1, from_index), min(to_index, len(amps) - 1) + 1) if signed[k - 1] < 0 <= signed[k]]
    if not hits:
        return None
    k = hits[-1] if last else hits[0]
    return k - 1 + signed[k - 1] / (signed[k - 1] - signed[k])


def load_steps(amps, least, sigma, span=16, gap=4):
    if len(amps) < 2 * span + gap:
        return []
    d, offset = differences(amps, span, gap)
    size = np.abs(d)
    threshold = max(least, 6 * sigma * np.sqrt(2 / span))
    reach = span + gap
    found, k = [], 0
    while k < len(size):
        around = size[max(0, k - reach) : k + reach + 1]
        if size[k] > threshold and size[k] == around.max():
            end = k
            while end + 1 < len(size) and d[end + 1] == d[k]:
                end += 1
            found.append(describe(amps, offset + (k + end) // 2, float(d[k]), span, gap))
            k = end + reach
        k += 1
    return found


def describe(amps, at, step, span, gap):
    before = float(np.mean(amps[at - span : at]))
    rising = step > 0
    level = [before + share * step for share in (0.1, 0.5, 0.9)]
    t50 = crossing(amps, level[1], rising, at - span, at + gap + span - 1, last=False)
    t10 = t90 = None
    if t50 is not None:
        t10 = crossing(amps, level[0], rising, at - span, int(np.floor(t50)) + 1, last=True)
        t90 = crossing(amps, level[2], rising, int(np.ceil(t50)), at + gap + span - 1, last=False)
    return {"at": at, "step": step, "t10": t10, "t50": t50, "t90": t90,
            "slew_is_bound": None if t10 is None or t90 is None else t90 - t10 < 3}
