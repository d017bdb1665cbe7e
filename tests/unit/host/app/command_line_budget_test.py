# SPDX-License-Identifier: Apache-2.0
"""The error budget a jig's description gives, against draws of the parts themselves and figures from outside."""
import json
import math
import unittest

import numpy

from command_line import ROOT, Workspace, content, run

SEED = 20261125
DRAWS = 400_000
NOISE_CODES = {16: 1.306, 12: 1.0}  # rms, of one scan


def budget(jig, channel):
    found, = json.loads(run("budget", jig, "--channel", channel, "--json").stdout)["jigs"]
    return found["channels"][0]


class Build:
    """One build of the +12 V chain, by part values: 11.7 kohm over 3 kohm, 4.096 V full scale."""

    def __init__(self, bits, linearity, divider_ppm, reference_ppm, mismatch, calibrated, fit):
        self.bits, self.linearity, self.divider_ppm, self.reference_ppm = bits, linearity, divider_ppm, reference_ppm
        self.mismatch, self.calibrated, self.fit = mismatch, calibrated, fit


# Fit: the covariance printed in the descriptions; it is 0.1 % of the variance.
BUILDS = {
    "reference": Build(16, 4, 25, 10, 0.001, True, (2.8e-5, 2.43e-4, -0.867)),
    "small": Build(12, 3, 100, 50, 0.01, True, (7.9e-5, 6.8e-4, -0.867)),
    "uncalibrated": Build(12, 3, 100, 50, 0.01, False, (0.0, 0.0, 0.0)),
}


def errors_at_twelve_volts(build):
    """What a 10 ms mean at 12 V is wrong by, drawn through the divider and the converter as they are (JCGM 101:2008,
    clause 7: propagation of distributions), V. No sensitivity, share or sum of squares of the program is used."""
    random = numpy.random.default_rng(SEED)

    def bound(width):
        return random.uniform(-width, width, DRAWS)

    top, bottom, full_scale, volts = 11700.0, 3000.0, 4.096, 12.0
    ratio = bottom / (top + bottom)
    drift = build.divider_ppm * 1e-6 * 10
    tolerance = 0.0 if build.calibrated else 0.01
    # The two resistors drift apart from each other; a tolerance as bought and a drift are separate draws.
    tops = top * (1 + bound(drift)) * (1 + bound(tolerance))
    bottoms = bottom * (1 + bound(drift)) * (1 + bound(tolerance))
    reference = full_scale * (1 + bound(build.reference_ppm * 1e-5)) * (1 + bound(100e-6))
    reference *= 1 + bound(0.0 if build.calibrated else 0.005)
    lsb = full_scale / 2**build.bits
    at_converter = volts * bottoms / (tops + bottoms) + bound(100e-6) + 5e-9 * 3400 * bound(1)
    at_converter += bound(build.linearity * lsb) + bound(lsb / 2)
    if not build.calibrated:
        at_converter += bound(0.005 * full_scale)
    reading = at_converter / reference * full_scale / ratio
    reading += bound(1e-6) * 930 + bound(1e-3) + bound(0.2 * build.mismatch)
    reading += random.normal(0, NOISE_CODES[build.bits] * lsb / ratio / math.sqrt(320), DRAWS)
    if build.calibrated:
        gain, offset, correlation = build.fit
        covariance = [[gain**2, correlation * gain * offset], [correlation * gain * offset, offset**2]]
        slope, start = random.multivariate_normal([0, 0], covariance, DRAWS).T
        reading += slope * volts + start
        reading += bound(0.0005 * volts + 0.002) + random.normal(0, 0.00005 * volts / 2, DRAWS) + bound(20e-6)
    return reading - volts


class Method(unittest.TestCase):
    def test_monte_carlo_of_the_parts(self):
        """The standard uncertainty is the deviation of the draws, and U covers at least 95.45 % of them. How much more: a
        rectangular term that dominates ends at its bounds, 95.45 % of a pure one lie within 1.65 deviations, not 2."""
        for name, build in BUILDS.items():
            with self.subTest(name, seed=SEED):
                errors = errors_at_twelve_volts(build)
                printed = budget(name, "main-12v")
                self.assertAlmostEqual(1, printed["standard"] / errors.std(), delta=0.005)
                half = numpy.quantile(numpy.abs(errors - errors.mean()), 0.9545)
                print(f"{name}: seed {SEED}, {DRAWS} draws: u {errors.std() * 1e3:.3f} mV, 95.45 % within "
                      f"{half * 1e3:.3f} mV; printed u {printed['standard'] * 1e3:.3f}, U {printed['expanded'] * 1e3:.3f}")
                self.assertGreaterEqual(printed["expanded"], 0.995 * half)
                self.assertLessEqual(printed["expanded"], 2 / 1.65 * half)

    def test_twelve_volts_by_an_independent_budget(self):
        """An independent budget in Python gave U 10.45, 26.05 and 207.72 mV and tolerance over U 57.4, 23.0 and 2.9 without
        the meter's own calibration, thermal voltages and the legs' mismatch, which add 0.02, 0.12 and 0.01 mV."""
        for name, expanded, added, ratio in [("reference", 10.45, 0.02, 57.4), ("small", 26.05, 0.12, 23.0),
                                             ("uncalibrated", 207.72, 0.01, 2.9)]:
            printed = budget(name, "main-12v")
            self.assertAlmostEqual(expanded + added, printed["expanded"] * 1e3, delta=0.015)
            self.assertAlmostEqual(ratio, printed["ratios"][0]["ratio"], delta=0.15)
        meter = budget("reference", "main-12v")["terms"][0]
        self.assertAlmostEqual((6 + 2) / math.sqrt(3), meter["standard"] * 1e3, places=6)
        self.assertIn("reference meter", meter["name"])

    def test_what_to_change_halves(self):
        """With the named terms brought down the squares sum to a quarter; with one term fewer they could not."""
        for name in BUILDS:
            for channel in ("main-12v", "main-5v", "main-3v3"):
                printed = budget(name, channel)
                after = {change["term"]: change["standardMost"] for change in printed["toHalve"]}
                squares = sum(after.get(term["name"], term["standard"])**2 for term in printed["terms"])
                self.assertAlmostEqual(0.5, math.sqrt(squares) / printed["standard"], places=9)
                spared = sum(term["standard"]**2 for term in printed["terms"][len(after) - 1:])
                self.assertGreaterEqual(spared, printed["standard"]**2 / 4)
                self.assertAlmostEqual(1, sum(term["share"] for term in printed["terms"]), places=9)


class Output(Workspace):
    def test_status_and_words(self):
        self.assertEqual(0, run("budget").returncode)
        refused = run("budget", "reference", "small", "uncalibrated")
        self.assertEqual(4, refused.returncode)
        self.assertIn("refused for verdicts", refused.stdout)
        self.assertIn("To halve U: reference meter", run("budget", "--channel", "main-12v").stdout)
        self.assert_refused(run("budget", "referense"), "Did you mean 'reference'?")
        self.assert_refused(run("budget", "--channel", "main-24v"), "main-24v")

    def test_every_channel_that_decides_is_there(self):
        found, = json.loads(run("budget", "--json").stdout)["jigs"]
        self.assertEqual(23, len(found["channels"]))
        self.assertEqual("", found["refusal"])
        self.assertIsNone(found["channels"][0]["effectiveDof"])

    def refused(self, old, new, line_of, *words):
        text = content(f"{ROOT}/host/data/jigs/reference.textproto").decode()
        self.assertIn(old, text)
        changed = text.replace(old, new, 1)
        with open(self.path("jig.textproto"), "w", encoding="utf-8") as file:
            file.write(changed)
        line = changed[:changed.index(line_of)].count("\n") + 1
        self.assert_refused(run("budget", self.path("jig.textproto")), f"jig.textproto:{line}:", *words)

    def test_contradictions_by_line(self):
        meter = "width: 0.008 unit: \"V\" sensitivity: 1"
        first = 'channels: ["main-12v", "processor-1"'
        self.refused(meter, meter.replace("0.008", "0.009"), first, "main-12v", "u_other is 0.005235")
        self.refused(meter, meter.replace("0.008", "-1"), "width: -1", "0 or more")
        self.refused(meter, 'width: 0.008 unit: "V"', "contributors {\n    name: \"reference meter", "sensitivity")
        self.refused(first, 'channels: ["main-12v", "main-12w"', 'channels: ["main-12v", "main-12w"', "main-12w",
                     "not there")
        self.refused('channels: ["main-3v3"]', 'channels: ["main-12v"]', 'channels: ["main-12v"]', "two budgets")
        self.refused(" evaluation: EVALUATION_B", "", "contributors {\n    name: \"reference meter", "type A nor B")
        self.refused(" distribution: DISTRIBUTION_RECTANGULAR", "", "contributors {\n    name: \"reference meter",
                     "distribution")


if __name__ == "__main__":
    unittest.main()
