# SPDX-License-Identifier: Apache-2.0
"""Sags from their definition: departures from the rail's own sliding level.

reference += (1 - exp(-T/tau)) (mean - reference), tau 1 s; it stands still while a sag lasts and for 100 ms after it.
A sag begins below reference (1 - 2 %) and ends at or above reference (1 - 1.5 %). Once the reference has stood still
for 10 s without a break it becomes the median of the last second; a sag open then ends there, as a new level.
"""

import math

import numpy as np

START_SHARE, END_SHARE = 0.02, 0.015
TAU_S, FREEZE_S, NEW_LEVEL_S, MEDIAN_S = 1.0, 0.1, 10.0, 1.0


def sags(rate_hz, scans, least, mean):
    """Consecutive levels of `scans` scans each, with their least and mean value. Returns (sags, final reference)."""
    found, reference, frozen_until, event = [], mean[0], 0, None
    stands_since = None
    alpha = 1 - math.exp(-scans / rate_hz / TAU_S)
    second = max(1, round(MEDIAN_S * rate_hz / scans))
    for k in range(len(mean)):
        now = k * scans
        if event is not None and least[k] >= event["reference"] * (1 - END_SHARE):
            found.append({**event, "end": now, "truncated": False, "new_level": False})
            event, frozen_until = None, now + FREEZE_S * rate_hz
        if event is None and least[k] < reference * (1 - START_SHARE):
            event = {"start": now, "reference": reference, "least": least[k], "at": now}
        if event is None and now >= frozen_until:
            reference += alpha * (mean[k] - reference)
            stands_since = None
            continue
        stands_since = now if stands_since is None else stands_since
        if event is not None and least[k] < event["least"]:
            event.update(least=least[k], at=now)
        if now + scans - stands_since >= NEW_LEVEL_S * rate_hz:
            if event is not None:
                found.append({**event, "end": now + scans, "truncated": False, "new_level": True})
            event, frozen_until, stands_since = None, 0, None
            reference = float(np.median(mean[max(0, k + 1 - second) : k + 1]))
    if event is not None:
        found.append({**event, "end": len(mean) * scans, "truncated": True, "new_level": False})
    return found, reference
