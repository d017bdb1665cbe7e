# SPDX-License-Identifier: Apache-2.0
"""Out-of-tolerance excursions from their definition, found by searching for crossings instead of by a state machine.

Low side: begins at the first sample below the limit, ends at the first sample at or above the release level; two of them
no further apart than `merge` are one (the lower extreme, the earlier of equals); only then those shorter than `least`
are dropped, unless their extreme reaches `keep`. A hole ends what is open; nothing is merged across it. High side: the
mirror.
"""

import numpy as np


def one_run(first, levels, limit, release):
    """[start, end, truncated) of a run of consecutive low-side samples."""
    begins = np.flatnonzero(levels < limit)
    ends = np.flatnonzero(levels >= release)
    found, at = [], 0
    while True:
        k = np.searchsorted(begins, at)
        if k == len(begins):
            return found
        start = begins[k]
        e = np.searchsorted(ends, start)
        truncated = e == len(ends)
        at = len(levels) if truncated else ends[e]
        found.append([first + int(start), first + int(at), truncated])


def excursions(runs, side, limit, release, keep, merge, least):
    """`runs`: (first scan, whole-number levels) without holes inside. Returns (kept, number dropped)."""
    kept, dropped = [], 0
    sign = 1 if side == "low" else -1
    for first, levels in runs:
        levels = sign * np.asarray(levels, dtype=np.int64)
        joined = []
        for start, end, truncated in one_run(first, levels, sign * limit, sign * release):
            if joined and start - joined[-1][1] <= merge:
                joined[-1][1:] = [end, truncated]
            else:
                joined.append([start, end, truncated])
        for start, end, truncated in joined:
            inside = levels[start - first : end - first]
            at = int(np.argmin(inside))  # the first of equals
            extreme = int(inside[at])
            if end - start < least and (keep is None or extreme > sign * keep):
                dropped += 1
                continue
            below = np.maximum(sign * limit - inside, 0)
            kept.append({"start": start, "end": end, "extreme": sign * extreme, "at": start + at,
                         "area": int(below.sum()), "beyond": int(np.count_nonzero(below)), "truncated": bool(truncated)})
    return kept, dropped
