# SPDX-License-Identifier: Apache-2.0
"""The guard-banded decision and what stands behind it, from JCGM 106:2012 and ILAC-G8:09/2019, in plain Python."""

import math


def decide(side, value, expanded, under_read, noise_extreme, unbounded, limit):
    """Whole microvolts. Fail: even the best case lies beyond the limit; pass: even the worst case does not."""
    if side == "high":
        value, limit = -value, -limit
    if value + expanded + noise_extreme < limit:
        return "fail"
    if unbounded or value - under_read - expanded < limit:
        return "undecided"
    return "pass"


def nonconforming(side, value, limit, u):
    z = (limit - value) / u if side == "low" else (value - limit) / u
    return 0.5 * math.erfc(-z / math.sqrt(2))
