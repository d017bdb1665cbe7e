# SPDX-License-Identifier: Apache-2.0
"""Detectors that read samples, on random traces: ours against the definitions."""

import numpy as np

import decision
import random_traces
from droop import droop
from excursion import excursions
from load_step import load_steps
from sag import sags

DEFINITION = "NumPy, from the definition"


def lists(table, name, ours, reference, allowed, seed):
    """Two lists of dicts: their lengths, then field by field. `allowed`: {field: difference}."""
    table.row(f"{name}: number", len(ours), len(reference), DEFINITION, seed=seed)
    for mine, theirs in zip(ours, reference):
        for field, within in allowed.items():
            table.row(f"{name}: {field}", mine[field], theirs[field], DEFINITION, within, seed)


def ask_excursions(probe, table, seed):
    random = np.random.default_rng([seed, 1])
    for side in ("low", "high"):
        levels = random_traces.levels_with_dips(random)
        limit, release = 11_400_000, 11_430_000
        keep = None if random.random() < 0.5 else 11_385_000
        merge, least = (16, 4) if random.random() < 0.7 else (int(random.integers(0, 40)), int(random.integers(0, 12)))
        if side == "high":
            levels, limit, release = 24_000_000 - levels, 24_000_000 - limit, 24_000_000 - release
            keep = None if keep is None else 24_000_000 - keep
        runs = random_traces.cut(random, levels)
        kept, dropped = excursions(runs, side, limit, release, keep, merge, least)

        def compare(answer, kept=kept, dropped=dropped, name=f"D1 excursion, {side} side"):
            exact = dict.fromkeys(("start", "end", "extreme", "at", "area", "beyond", "truncated"), 0)
            lists(table, name, answer["events"], kept, exact, seed)
            table.row(f"{name}: short ones counted", answer["dropped"], dropped, DEFINITION, seed=seed)

        probe.ask("excursions", [side == "high", limit, release, float("nan") if keep is None else keep, merge, least],
                  [[first for first, _ in runs], *(run for _, run in runs)], compare)


def ask_sags(probe, table, seed):
    random = np.random.default_rng([seed, 2])
    rate, scans = 1000, int(random.choice([1, 4]))
    volts = random_traces.slow_level(random, rate, 24)
    volts = volts[: len(volts) // scans * scans].reshape(-1, scans)
    least, mean = volts.min(axis=1), volts.mean(axis=1)
    found, last = sags(rate, scans, least, mean)

    def compare(answer):
        allowed = {"start": 0, "end": 0, "least": 0, "at": 0, "truncated": 0, "new_level": 0, "reference": 1e-9}
        lists(table, "D2 sag", answer["sags"], found, allowed, seed)
        table.row("D2 sag: reference at the end, V", answer["reference"], last, DEFINITION, 1e-9, seed)

    probe.ask("sags", [rate, scans], [least, mean], compare)


def ask_steps(probe, table, seed):
    random = np.random.default_rng([seed, 3])
    amps, edges, sigma = random_traces.load(random)
    found = load_steps(amps, 1.0, sigma)

    def compare(answer):
        allowed = {"at": 0, "step": 1e-12, "t10": 1e-9, "t50": 1e-9, "t90": 1e-9, "slew_is_bound": 0}
        lists(table, "D3 load step", answer["steps"], found, allowed, seed)
        table.row("D3 load step: sigma of D, A", answer["sigma"], sigma * np.sqrt(2 / 16), DEFINITION, 1e-15, seed)

    probe.ask("steps", [1.0, sigma, 16, 4], [amps], compare)
    ask_droops(probe, table, seed, random_traces.rail(random, amps), [at for at, _, _ in edges])


def ask_droops(probe, table, seed, volts, edges):
    for at, following in zip(edges, [*edges[1:], len(volts)]):
        following = min(following, at + 320, len(volts))
        if at < 32 or following - at < 34:
            continue
        rising = volts[at - 1] > volts[following - 1]
        expected = droop(volts, at, following, rising, 0.06)

        def compare(answer, expected=expected):
            for field, value in expected.items():
                table.row(f"D4 droop: {field}", answer.get(field), value, DEFINITION,
                          0 if isinstance(value, int) else 1e-11, seed)

        probe.ask("droop", [at, following, rising, 0.06], [volts], compare)


def ask_decisions(probe, table, seed):
    random = np.random.default_rng([seed, 4])
    for _ in range(20):
        side = "high" if random.random() < 0.5 else "low"
        limit, expanded, noise = 11_400_000, int(random.integers(0, 30_000)), int(random.integers(0, 4000))
        hidden, unbounded = int(random.choice([0, 5000, 40_000])), bool(random.random() < 0.1)
        edge = random.choice([-expanded - noise, expanded + hidden, 0]) * (1 if side == "low" else -1)
        value = limit + int(edge) + int(random.integers(-2, 3))
        expected = decision.decide(side, value, expanded, hidden, noise, unbounded, limit)
        probe.ask("decision", [side == "high", value, expanded, hidden, noise, unbounded, limit], [],
                  lambda answer, expected=expected: table.row("D0 decision at its edges", answer["decision"], expected,
                                                              DEFINITION, seed=seed))


def ask_all(probe, table, seed):
    for ask in (ask_decisions, ask_excursions, ask_sags, ask_steps):
        ask(probe, table, seed)
