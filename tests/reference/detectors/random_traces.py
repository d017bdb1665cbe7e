# SPDX-License-Identifier: Apache-2.0
"""Seeded traces that a rail or its load might show. Whole codes wherever equality decides, so that sums are exact."""

import numpy as np

SCAN_RATE_HZ = 32000


def levels_with_dips(random, count=3000):
    """Whole microvolts about 12 V: dips of every width, chatter at the limit of 11.4 V, ties."""
    levels = np.full(count, 12_000_000)
    for _ in range(random.integers(3, 30)):
        start, width = random.integers(0, count), int(random.choice([1, 2, 3, 4, 5, 8, 40, 200]))
        levels[start : start + width] = random.integers(11_000_000, 11_460_000)
    for _ in range(random.integers(0, 4)):
        start, width = random.integers(0, count), random.integers(10, 120)
        chatter = random.choice([11_380_000, 11_400_000, 11_399_999, 11_429_999, 11_430_000, 11_500_000], size=width)
        levels[start : start + width] = chatter[: count - start]
    return levels + random.integers(-3, 4, size=count) * random.choice([0, 0, 1000])


def cut(random, levels):
    """[(first scan, levels)]: now and then with holes."""
    places = np.sort(random.integers(1, len(levels), size=random.integers(0, 4) * 2)).tolist()
    edges = [0, *places, len(levels)]
    return [(edges[k], levels[edges[k] : edges[k + 1]]) for k in range(0, len(edges) - 1, 2)
            if edges[k + 1] > edges[k]]


def slow_level(random, rate_hz, seconds):
    """A rail near 12 V with drift, dips inside the tolerance, repeated dips and changes of level."""
    count = rate_hz * seconds
    volts = 12 + np.cumsum(random.normal(0, 2e-5, count))
    for _ in range(random.integers(2, 15)):
        start, width = random.integers(0, count), int(random.choice([1, 5, 50, 90, 150, 400, 2500]))
        volts[start : start + width] -= random.uniform(0.1, 0.6)
    if random.random() < 0.6:
        volts[random.integers(rate_hz, count) :] -= random.uniform(0.15, 1.0)
    return volts + random.normal(0, random.choice([0, 0.002]), count)


def load(random, count=4000):
    """A current in whole 1/512 A: levels of 2 to 40 A, edges of 1 to 9 samples, sometimes noise; and its edges."""
    amps, at, level, edges = np.empty(count), 0, float(random.integers(2, 40)), []
    while at < count:
        held = int(random.integers(30, 900))
        amps[at : at + held] = level
        at += held
        target = level
        while abs(target - level) < 2:
            target = float(random.integers(2, 40))
        width = int(random.integers(1, 10))
        edge = level + (target - level) * np.arange(1, width + 1) / (width + 1)
        if at < count:
            edges.append((at, level, target))
        amps[at : at + width] = edge[: max(0, count - at)]
        at += width
        level = target
    sigma = float(random.choice([0, 0.02, 0.1]))
    return np.round((amps + random.normal(0, sigma, count)) * 512) / 512, edges, sigma


def rail(random, amps):
    """What such a current does to a voltage: resistance, and a damped ring after every change."""
    ohm, ring_ohm = random.uniform(2e-3, 40e-3), random.uniform(2e-3, 12e-3)
    decay, turn = np.exp(-1 / random.uniform(4, 40)), 2 * np.pi / random.uniform(15, 80)
    n = np.arange(400)
    kernel = decay**n * np.cos(turn * n)
    change = np.diff(amps, prepend=amps[0])
    ring = np.convolve(change, kernel)[: len(amps)]
    return 12.1 - ohm * amps - ring_ohm * ring + random.normal(0, 6e-4, len(amps))
