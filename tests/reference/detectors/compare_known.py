# SPDX-License-Identifier: Apache-2.0
"""Worked examples whose figures follow by hand or from a closed form, and circuits that ngspice solves now."""

import math

import numpy as np

import chain
import decision
import rail_step
from droop import droop
from excursion import excursions

BY_HAND = "by hand from the definition"
CLOSED = "closed form"
RATE = 32000


def excursion_drawn(probe, table):
    """12 V with pieces: 10 scans back above 11.43 V merge; 3 scans are dropped; 4 are kept; 11.42 V ends nothing."""
    levels = np.full(4000, 12_000_000)
    for start, end, level in ((1000, 1064, 11_300_000), (1064, 1080, 11_420_000), (1080, 1112, 11_350_000),
                              (1112, 1122, 11_500_000), (1122, 1130, 11_380_000), (2000, 2003, 11_200_000),
                              (3000, 3004, 11_390_000)):
        levels[start:end] = level

    def compare(answer):
        expected = [(1000, 1130, 4.0625, 11.30, 0.255), (3000, 3004, 0.125, 11.39, 0.00125)]
        table.row("drawn excursions: number", len(answer["events"]), 2, BY_HAND)
        for k, (event, (start, end, ms, volts, area)) in enumerate(zip(answer["events"], expected), 1):
            name = f"drawn excursion {k}"
            table.row(f"{name}: start, scan", event["start"], start, BY_HAND)
            table.row(f"{name}: end, scan", event["end"], end, BY_HAND)
            table.row(f"{name}: duration, ms", (event["end"] - event["start"]) / RATE * 1e3, ms, BY_HAND)
            table.row(f"{name}: extreme, V", event["extreme"] * 1e-6, volts, BY_HAND, 1e-9)
            table.row(f"{name}: area, mV s", event["area"] * 1e-6 / RATE * 1e3, area, BY_HAND, 1e-12)

    probe.ask("excursions", [0, 11_400_000, 11_430_000, float("nan"), 16, 4], [[0], levels], compare)


def sag_thresholds(probe, table):
    """Reference 12.02 V: 11.7796 V begins nothing, 11.7795 does; 11.8396 does not end it, 11.8398 does."""
    least = np.array([12.02] * 5 + [11.7797, 11.7795, 11.60, 11.8396, 11.8398])

    def compare(answer):
        sag = answer["sags"][0]
        table.row("sag at 12.02 V: start, level", sag["start"], 6, "by hand: 12.02 V x 0.98 = 11.7796 V")
        table.row("sag at 12.02 V: end, level", sag["end"], 9, "by hand: 12.02 V x 0.985 = 11.8397 V")
        table.row("sag at 12.02 V: retained, %", 100 * (1 - sag["depth"]), 1160 / 12.02, "by hand: 11.60 / 12.02",
                  1e-5)

    # So slow a scan rate that the reference would move, were it not for these levels being so few: 1 MHz keeps it.
    probe.ask("sags", [1e6, 1], [least, least], compare)


def step_drawn(probe, table):
    """5 to 25 A over 3 scans from 1000: D is flat from 999 to 1001, half the step is crossed at 1001.5."""
    amps = np.interp(np.arange(2000), [0, 1000, 1003, 1999], [5, 5, 25, 25])

    def compare(answer):
        step = answer["steps"][0]
        table.row("drawn step: number", len(answer["steps"]), 1, BY_HAND)
        table.row("drawn step: scan", step["at"], 1000, BY_HAND)
        table.row("drawn step: size, A", step["step"], 20.0, BY_HAND, 1e-12)
        table.row("drawn step: half way, scan", step["t50"], 1001.5, BY_HAND, 1e-9)
        table.row("drawn step: slew, A/us", step["slew"] * 1e-6, 0.8 * 20 / (0.8 * 3 / RATE * 1e6), BY_HAND, 1e-9)
        table.row("drawn step: sigma of D at 0.2 A, A", answer["sigma"], 0.2 * math.sqrt(2 / 16), CLOSED, 1e-15)

    probe.ask("steps", [1.0, 0.2, 16, 4], [amps], compare)


def open_rlc(probe, table):
    """10 mohm, 2 uH, 2,200 uF stepped by 20 A at t = 0, no loop; 50 times the jig's scan rate."""
    r, l, c, step_a, fine = 0.010, 2e-6, 2200e-6, 20.0, 1 / (RATE * 50)
    a, w0 = r / (2 * l), 1 / math.sqrt(l * c)
    w = math.sqrt(w0 * w0 - a * a)

    def deviation(t):
        swing = np.exp(-a * t)
        return step_a * (r * (1 - swing * (np.cos(w * t) + a / w * np.sin(w * t)))
                         + l * w0 * w0 * swing * np.sin(w * t) / w)

    t = np.arange(0, 10e-3, fine)
    volts = np.concatenate([np.full(64, 11.95), 11.95 - deviation(t)])
    dense = np.linspace(0, 3e-3, 3_000_001)  # 1 ns
    exact = deviation(dense)
    lowest = int(exact.argmax())
    outside = np.flatnonzero(np.abs(exact - step_a * r) > 0.06)
    source = "closed form of R-L-C"

    def compare(answer):
        table.row("open R-L-C: deviation, V", answer["deviation"], float(exact[lowest]), source, 2e-6)
        table.row("open R-L-C: undershoot, V", answer["undershoot"], float(exact[lowest] - step_a * r), source, 1e-5)
        table.row("open R-L-C: settled shift, V", answer["shift"], step_a * r, source, 1e-5)
        table.row("open R-L-C: to the minimum, us", answer["minimum_scans"] * fine * 1e6, float(dense[lowest]) * 1e6,
                  source, fine * 1e6)
        table.row("open R-L-C: recovery to 60 mV, us", answer["recovery_scans"] * fine * 1e6,
                  float(dense[outside[-1] + 1]) * 1e6, source, fine * 1e6)

    probe.ask("droop", [64, len(volts), 1, 0.06], [volts], compare)


def on_ngspice(probe, table):
    """NumPy's reading of ngspice's traces against ours; the traces are solved now."""
    source = "NumPy on ngspice's trace"
    for supply in rail_step.SUPPLIES:
        for place, volts in rail_step.run(supply).items():
            following = rail_step.NEXT.get(supply, 384)
            expected = droop(volts, rail_step.STEP, following, True, 0.06)

            def compare_droop(answer, expected=expected, name=f"{supply} {place}"):
                for field in ("deviation", "undershoot", "shift"):
                    table.row(f"{name}: {field}, V", answer[field], expected[field], source, 1e-9)
                table.row(f"{name}: minimum, scan", answer["extreme_at"], expected["extreme_at"], source)
                table.row(f"{name}: recovery, scans", answer["recovery_scans"], expected["recovery_scans"], source)

            probe.ask("droop", [rail_step.STEP, following, 1, 0.06], [volts], compare_droop)
            levels = np.rint(volts * 1e6).astype(np.int64)
            kept, _ = excursions([(0, levels)], "low", 11_400_000, 11_430_000, None, 16, 4)

            def compare_excursions(answer, kept=kept, name=f"{supply} {place}"):
                table.row(f"{name}: excursions", len(answer["events"]), len(kept), source)
                for mine, theirs in zip(answer["events"], kept):
                    for field in ("start", "end", "at", "extreme"):
                        table.row(f"{name}: excursion, {field}", mine[field], theirs[field], source)

            probe.ask("excursions", [0, 11_400_000, 11_430_000, float("nan"), 16, 4], [[0], levels], compare_excursions)


def guard_band(probe, table):
    """Limits 11.40 and 12.60 V, U 15 mV."""
    cases = {11.42: "pass", 11.41: "undecided", 11.39: "undecided", 11.38: "fail", 12.58: "pass", 12.59: "undecided",
             12.62: "fail"}
    for volts, expected in cases.items():
        side, limit = ("low", 11_400_000) if volts < 12 else ("high", 12_600_000)
        value = round(volts * 1e6)
        assert decision.decide(side, value, 15_000, 0, 0, False, limit) == expected
        probe.ask("decision", [side == "high", value, 15_000, 0, 0, 0, limit], [],
                  lambda answer, name=f"decision on {volts} V, U 15 mV", expected=expected: table.row(
                      name, answer["decision"], expected, "guard band w = U, ILAC-G8:09/2019, by hand"))
    probe.ask("nonconforming", [0, 11.41, 11.40, 0.0075], [],
              lambda answer: table.row("P(below 11.40 V) at 11.41 V, u 7.5 mV", answer["value"],
                                       decision.nonconforming("low", 11.41, 11.40, 0.0075),
                                       "normal distribution, erfc of the C library (JCGM 106:2012)", 1e-12))


def under_read(probe, table):
    """Worst sampled fraction of a rectangular dip; two equal poles of 14.2 kHz, then poles that all differ."""
    widths = [20e-6, 31.25e-6, 50e-6, 100e-6, 200e-6]
    for poles in ([14.2e3, 14.2e3], [14.18e3, 14.21e3], [9e3, 30e3, 80e3]):
        def compare(answer, poles=poles):
            for width, fraction in zip(widths, answer["values"]):
                shown = "/".join(f"{pole / 1e3:g}" for pole in poles)
                table.row(f"dip of {width * 1e6:g} us behind {shown} kHz: worst fraction", fraction,
                          chain.worst_fraction(poles, RATE, width), "closed-form step response, every phase", 5e-6)

        probe.ask("worst_fractions", [RATE], [poles, widths], compare)


def compare_all(probe, table):
    for compare in (excursion_drawn, sag_thresholds, step_drawn, open_rlc, on_ngspice, guard_band, under_read):
        compare(probe, table)
