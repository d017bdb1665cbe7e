# SPDX-License-Identifier: Apache-2.0
"""Resistances, cross-regulation and ripple, on random settled points and traces: ours against the definitions."""

import numpy as np

import chain
import ripple
from contact import contact, wire_ohm_per_m
from cross_regulation import condition, cross_regulation
from output_resistance import output_resistance

DEFINITION = "NumPy, from the definition"
BY_HAND = "by hand from the definition"


def settled(random, count, rails=2):
    """Currents of `rails` loads, some levels shared by several points; volts with noise and now and then an outlier."""
    amps = np.round(random.uniform(1, 30, (count, rails)), 2)
    if random.random() < 0.5:
        amps[:, 0] = random.choice(np.arange(2, 30, 2.5), count)
    volts = 12.1 - amps @ random.uniform(2e-3, 40e-3, rails) + random.normal(0, 1e-3, count)
    wrong = random.random(count) < random.choice([0, 0.1, 0.2])
    return amps, volts - wrong * random.uniform(0.1, 0.5, count)


def ask_output_resistance(probe, table, seed):
    random = np.random.default_rng([seed, 5])
    for _ in range(4):
        amps, volts = settled(random, int(random.integers(5, 45)), 1)
        expected = output_resistance(amps[:, 0], volts)

        def compare(answer, expected=expected):
            table.row("D5 output resistance: pairs", answer["pairs"], len(expected["slopes"]), DEFINITION, seed=seed)
            for field, unit in (("ohm", "ohm"), ("low_ohm", "ohm"), ("high_ohm", "ohm"), ("open_v", "V")):
                table.row(f"D5 output resistance: {field}, {unit}", answer[field], expected[field], DEFINITION, 1e-12, seed)

        probe.ask("slopes", [], [amps[:, 0], volts], compare)


def ask_cross_regulation(probe, table, seed):
    random = np.random.default_rng([seed, 6])
    rails = int(random.integers(2, 4))
    amps, volts = settled(random, int(random.integers(15, 80)), rails)
    if random.random() < 0.3:
        amps[:, 1] = amps[:, 0] * 1.5 + random.normal(0, 0.3, len(amps))  # moved together
    k, open_v = cross_regulation(amps, volts[:, None])

    def compare(answer):
        table.row("D6 condition number, of itself", answer["condition"] / condition(amps), 1.0, DEFINITION, 1e-9,
                  seed)
        if condition(amps) > 30:
            return  # refused: loads that moved together are not told apart
        table.row("D6 open voltage, V", answer["constant"], float(open_v[0]), DEFINITION, 1e-9, seed)
        for mine, theirs in zip(answer["slopes"], -k[0]):
            table.row("D6 slope, V/A", mine, float(theirs), DEFINITION, 1e-9, seed)

    probe.ask("robust", [], [volts, *amps.T], compare)


def ask_contact(probe, table, seed):
    random = np.random.default_rng([seed, 7])
    count = int(random.integers(12, 60))
    a, b = random.uniform(1, 28, (2, count))
    y = -random.uniform(5e-3, 60e-3) * a + random.uniform(5e-3, 20e-3) * b + random.normal(0, 1e-3, count)
    y += 0.4 * (random.random(count) < 0.1)
    c, r_a, r_b = contact(y, a, b, forced=False)

    def compare(answer):
        table.row("D7 R_A, ohm", answer["a_ohm"], r_a, DEFINITION, 1e-10, seed)
        table.row("D7 R_B, ohm", answer["b_ohm"], r_b, DEFINITION, 1e-10, seed)
        table.row("D7 offset, V", answer["offset_v"], c, DEFINITION, 1e-9, seed)

    probe.ask("contact", [0.02], [y, a, b], compare)
    # B's load stands still: its resistance rests on the offset being 0.
    still = np.full(count, 8.0)
    y = -random.uniform(5e-3, 60e-3) * a + 0.010 * still + random.normal(0, 1e-3, count)
    _, alone_a, alone_b = contact(y, a, still, forced=True)

    def compare_still(answer):
        table.row("D7 R_A, B standing still, ohm", answer["a_ohm"], alone_a, DEFINITION, 1e-10, seed)
        table.row("D7 R_B, from the offset, ohm", answer.get("b_ohm"), alone_b, DEFINITION, 1e-10, seed)

    probe.ask("contact", [0.02], [y, a, still], compare_still)


def ask_ripple(probe, table, seed):
    random = np.random.default_rng([seed, 8])
    scans, sigma = int(random.choice([32, 64])), 2.0
    t = np.arange(2 * 32000) / 32000
    tone = random.uniform(300, 6000)
    codes = (random.uniform(20, 150) * np.sin(2 * np.pi * tone * t + random.uniform(0, 6))
             + random.uniform(0, 300) * np.sin(2 * np.pi * random.uniform(0.2, 1) * t) + random.normal(0, sigma, len(t)))
    codes = np.round(codes)
    filtered = ripple.high_pass(codes * 3e-4, 32000)[32000:]
    pp = ripple.ranges(filtered, 640)

    def compare(answer):
        table.row("D8 windows read at all", answer["windows"] > 0, True, DEFINITION, seed=seed)
        # Ours sees one 20 ms stretch in half a second, and filters windows instead of samples.
        table.row("D8 median peak to peak, of itself", answer["median_pp"] / float(np.median(pp)), 1.0, DEFINITION, 0.05,
                  seed)
        table.row("D8 expected of noise alone, V", answer["noise_pp"], ripple.d2(640) * sigma * 3e-4, DEFINITION, 1e-7,
                  seed)
        table.row("D8 bound, V", answer["value"], ripple.lower_bound(answer["median_pp"], sigma * 3e-4, 640), DEFINITION,
                  1e-7, seed)

    probe.ask("ripple", [scans, sigma], [codes], compare)


def mains_line(probe, table):
    """100 and 120 Hz of 8 mV: its amplitude by the sum that Goertzel's recursion computes."""
    t = np.arange(4 * 32000) / 32000
    for mains in (50, 60):
        codes = np.round(8e-3 / 3e-4 * np.sin(2 * np.pi * 2 * mains * t + 0.4))
        exact = ripple.tone_amplitude(codes * 3e-4, 32000, 2 * mains)

        def compare(answer, mains=mains, exact=exact):
            table.row(f"D8 line at {2 * mains} Hz: mains, Hz", answer["mains_hz"], mains, BY_HAND)
            table.row(f"D8 line at {2 * mains} Hz: amplitude, V", answer["residue"], exact, DEFINITION, 1e-4)

        probe.ask("ripple", [32, 0.1], [codes], compare)


def ask_all(probe, table, seed):
    for ask in (ask_output_resistance, ask_cross_regulation, ask_contact):
        ask(probe, table, seed)
    if seed % 5 == 0:
        ask_ripple(probe, table, seed)


def known(probe, table):
    ten_points(probe, table)
    shared_transformer(probe, table)
    two_wires(probe, table)
    mains_line(probe, table)
    small_figures(probe, table)


def ten_points(probe, table):
    """12.1 V - 9.2 mohm I with two gross outliers; the figures are those of SciPy's theilslopes and median."""
    amps = [2, 5, 8, 11, 14, 17, 20, 23, 26, 29]
    volts = [12.0826, 12.052, 12.0279, 11.6488, 11.9702, 11.9456, 11.9145, 11.7394, 11.8608, 11.8327]

    def compare(answer):
        for field, value in (("ohm", 9.241666667e-3), ("low_ohm", 8.95e-3), ("high_ohm", 9.616666667e-3),
                             ("open_v", 12.100145833)):
            table.row(f"ten points, two outliers: {field}", answer[field], value, "SciPy's theilslopes, printed", 1e-9)

    probe.ask("slopes", [], [amps, volts], compare)


def shared_transformer(probe, table):
    """Weights 0.6 and 0.4, 20 and 12 mohm: V12 = 12 - w5 R12 I12 + 2.4 w5 R5 I5, V5 = 5 - w12 R5 I5 + 5/12 w12 R12 I12."""
    i12, i5 = (each.ravel().astype(float) for each in np.meshgrid(np.arange(2, 21, 3), np.arange(1, 8, 2)))
    expected = {"+12 V": (-8.0e-3, 11.52e-3), "+5 V": (5.0e-3, -7.2e-3)}
    volts = {"+12 V": 12 - 0.4 * 0.020 * i12 + 2.4 * 0.4 * 0.012 * i5,
             "+5 V": 5 - 0.6 * 0.012 * i5 + 5 / 12 * 0.6 * 0.020 * i12}
    for rail, slopes in expected.items():
        def compare(answer, rail=rail, slopes=slopes):
            for load, mine, theirs in zip(("+12 V", "+5 V"), answer["slopes"], slopes):
                table.row(f"shared transformer: {rail} by the load of {load}, V/A", mine, theirs,
                          "closed form of the steady state", 1e-9)

        probe.ask("robust", [], [volts[rail], i12, i5], compare)


def two_wires(probe, table):
    def compare(answer):
        table.row("two wires: R_A, ohm", answer["a_ohm"], 0.044, "by hand: slope of the five points", 1e-9)
        table.row("two wires: R_B, ohm", answer.get("b_ohm"), 0.010, "by hand: offset over 8 A", 1e-9)
        table.row("two wires: heat of the excess over 9 mohm at 25 A, W", (answer["a_ohm"] - 0.009) * 25**2, 21.875,
                  "by hand: 35 mohm x (25 A)^2", 1e-6)

    probe.ask("contact", [0.1], [[-0.14, -0.36, -0.58, -0.80, -1.02], [5, 10, 15, 20, 25], [8] * 5], compare)


def small_figures(probe, table):
    def ask(word, numbers, name, value, source, within):
        probe.ask(word, numbers, [], lambda answer: table.row(name, answer["value"], value, source, within))

    for count, printed in ((2, 1.128), (3, 1.693), (4, 2.059), (5, 2.326), (10, 3.078)):
        ask("range_sigmas", [count], f"d2 of {count}", printed, "control-chart tables (ASTM STP 15D)", 0.0005000001)
    for count in (2, 640, 3200):
        ask("range_sigmas", [count], f"d2 of {count}, integrated", ripple.d2(count), "integral of the range's distribution",
            1e-7)
    ask("least_ripple", [34.0, 0.6 * ripple.d2(640)], "34 mV less noise of 0.6 mV rms, mV",
        ripple.lower_bound(34.0, 0.6, 640), DEFINITION, 1e-9)
    for tone, shown in ((50e3, 14e3), (65e3, 1e3), (66e3, 2e3), (100e3, 4e3), (130e3, 2e3), (200e3, 8e3)):
        ask("alias", [tone, 32e3], f"alias of {tone / 1e3:g} kHz, Hz", chain.alias(tone, 32e3), "|f - round(f / fs) fs|", 0)
        assert chain.alias(tone, 32e3) == shown
    for awg in (14, 16, 18, 20):
        for celsius in (20, 60):
            ask("wire", [awg, celsius], f"wire of AWG {awg} at {celsius} C, ohm/m", wire_ohm_per_m(awg, celsius),
                "ASTM B258 diameter, IEC 60028 copper", 0.01 * wire_ohm_per_m(awg, celsius))
