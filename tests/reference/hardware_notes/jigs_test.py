# SPDX-License-Identifier: Apache-2.0
"""The jig descriptions that ship against the circuits of the notes: scale, middle, poles, by ngspice."""
import math
import re
import sys
import unittest

import front_end
import jig
import spice
from tables import complaint

CODES = 65536


class JigsTest(unittest.TestCase):
    def chains(self):
        for name in ("reference", "small"):
            for channel in jig.channels(name):
                variant = jig.variant_of(channel["name"])
                if variant:
                    yield name, channel, variant

    def test_scale_and_middle(self):
        """A code is 1/65536 of what the converter's range is at the connector; code 0 is its middle."""
        for name, channel, variant in self.chains():
            low, high = front_end.reading(variant, 0.0), front_end.reading(variant, front_end.FULL_SCALE_V)
            self.assertAlmostEqual((high - low) / CODES, float(channel["unit_per_code"]), delta=1e-9 * abs(high - low), msg=channel)
            self.assertAlmostEqual((high + low) / 2, float(channel["unit_at_code_0"]), delta=2e-7 * abs(high - low), msg=channel)

    def test_code_of_the_nominal_voltage(self):
        """Through ngspice: what stands at the converter at nominal is the code the description gives."""
        for name, channel, variant in self.chains():
            found = spice.shipped(f"front-end-{variant}")["at_converter"]
            code = found / front_end.FULL_SCALE_V * CODES - CODES / 2
            said = float(channel["unit_per_code"]) * code + float(channel["unit_at_code_0"])
            self.assertAlmostEqual(front_end.NOMINAL_V[variant], said, delta=1e-4, msg=channel["name"])

    def test_poles(self):
        """-3 dB of the two poles described, and of the circuit: equal but for 8 pF of diodes and buffer (2.5 % at the logic inputs)."""
        for name, channel, variant in self.chains():
            first, second = (1 / pole**2 for pole in channel["pole_hz"])
            total = first + second
            corner = ((-total + (total**2 + 4 * first * second) ** 0.5) / (2 * first * second)) ** 0.5
            found = spice.shipped(f"front-end-{variant}")["corner"]
            self.assertAlmostEqual(1, found / corner, delta=0.025 if variant == "logic" else 0.005, msg=channel["name"])

    def test_other_channels(self):
        """Currents, ground offsets and the adapter: range and middle as front-end.md and current-sensing.md state them."""
        ranges = {"CHANNEL_KIND_GROUND_OFFSET": 0.5, "CHANNEL_KIND_AC_PRESENT": 20.0, "CHANNEL_KIND_CURRENT": 80.0}
        seen = 0
        for name in ("reference", "small"):
            for channel in jig.channels(name):
                half = ranges.get(channel["kind"])
                if half is None:
                    continue
                if (name, channel["name"]) == ("reference", "current-graphics-1"):
                    half = 160.0
                seen += 1
                self.assertAlmostEqual(half * 2 / CODES, float(channel["unit_per_code"]), delta=1e-12, msg=channel["name"])
                self.assertEqual(0.0, float(channel["unit_at_code_0"]), channel["name"])
        self.assertEqual(11, seen)

    def test_the_commented_chain(self):
        """The table in the head of reference.textproto, to its last digit."""
        variants = {"+12": "p12", "+5": "p5", "+3.3": "p3v3", "-12": "m12", "logic": "logic"}
        head = jig.text_of("reference").split("id:")[0]
        found = re.findall(r"^#   (\S+) +([\d.]+ kohm) +([\d.]+ kohm) +([\d.]+) +(\S+ to \S+ V) +([\d.]+ nF) +(\d+, \d+ Hz)$",
                           head, re.MULTILINE)
        self.assertEqual(set(variants), {row[0] for row in found})
        for rail, top, bottom, ratio, scale, capacitor, poles in found:
            variant = variants[rail]
            parts = front_end.parts_of(variant)
            above = parts["Rp1"] + parts["Rt1"]
            source = above * parts["Rb1"] / (above + parts["Rb1"])
            for cell, expected in [
                    (top, [above]), (bottom, [parts["Rb1"]]), (ratio, [front_end.ratio(variant)]), (capacitor, [parts["C1"]]),
                    (scale, [front_end.reading(variant, 0.0), front_end.reading(variant, front_end.FULL_SCALE_V)]),
                    (poles, [1 / (2 * math.pi * r * c) for r, c in ((source, parts["C1"]), (parts["R21"], parts["C21"]))])]:
                self.assertIsNone(complaint(cell, *expected), (rail, cell))

    def test_the_listed_budget(self):
        """Contributors listed in reference.textproto: their squares sum to u_other, which the channels carry."""
        text = jig.text_of("reference")
        for channel in ["main-12v", "main-5v", "main-3v3", "main-m12v"]:
            listed, = re.findall(rf'^budgets {{\n  channels: \["{channel}".*?^}}', text, re.DOTALL | re.MULTILINE)
            terms = re.findall(r'DISTRIBUTION_(\w+)\s+width: (\S+) unit: "[^"]+" sensitivity: (\S+)', listed)
            self.assertEqual(13, len(terms))
            divisor = {"NORMAL": 1.0, "RECTANGULAR": math.sqrt(3)}
            squares = sum((float(width) * float(sensitivity) / divisor[shape])**2 for shape, width, sensitivity in terms)
            said = re.search(rf'channel: "{channel}" gain[^}}]*u_other: ([\d.e-]+)', text).group(1)
            self.assertAlmostEqual(float(said), math.sqrt(squares), delta=1.5e-6)

    def test_no_channel_is_left_over(self):
        self.assertEqual(24, len(jig.channels("reference")))
        self.assertEqual(8, len(jig.channels("small")))
        for channel in jig.channels("small"):
            self.assertIn(channel["name"], {other["name"] for other in jig.channels("reference")}, "same words, same plugs")


if __name__ == "__main__":
    sys.exit(unittest.main())
