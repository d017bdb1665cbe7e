# SPDX-License-Identifier: Apache-2.0
"""Figures of calibration.md from the descriptions that ship, by the formulas of JCGM 100 written down here."""
import math
import re
import sys
import unittest

import jig
from spice import NOTES, ROOT
from tables import complaint, rows

TEXT = (NOTES / "calibration.md").read_text(encoding="utf-8")
FLAT = " ".join(TEXT.split())
CHANNELS = {"+12 V": ("main-12v", 12.0), "+5 V": ("main-5v", 5.0), "+3.3 V": ("main-3v3", 3.3), "-12 V": ("main-m12v", -12.0)}
BUILDS = {"precise": "reference", "plain": "small"}


def expanded(build, rail, scans, other=None):
    """U at k = 2 of a mean over `scans`, V."""
    name, volts = CHANNELS[rail]
    text = (ROOT / "host/data/jigs" / f"{BUILDS[build]}.textproto").read_text(encoding="utf-8").split("calibration {")[1]
    found = re.search(rf'channel: "{name}" gain: \S+ offset: \S+\s+u_gain: (\S+) u_offset: (\S+) correlation: (\S+) '
                      r"u_other: (\S+)", text)
    u_gain, u_offset, correlation, u_other = map(float, found.groups())
    fit = volts**2 * u_gain**2 + u_offset**2 + 2 * volts * correlation * u_gain * u_offset
    channel, = [one for one in jig.channels(BUILDS[build]) if one["name"] == name]
    noise = float(channel["unit_per_code"]) * float(channel["noise_code_rms"])
    return 2 * math.sqrt((other or u_other) ** 2 + fit + noise**2 / scans)


class CalibrationTest(unittest.TestCase):
    def test_table(self):
        table = rows(TEXT, "What it is worth")
        self.assertEqual(7, len(table))
        for row in table:
            volts = CHANNELS[row["rail"]][1]
            whole, single = (expanded(row["build"], row["rail"], scans) for scans in (320, 1))
            self.assertIsNone(complaint(row["U"], whole), (row, whole))
            self.assertIsNone(complaint(row["single scan"], single), (row, single))
            tolerance = abs(volts) * (0.10 if volts < 0 else 0.05)
            for column, ratio in (("TUR, 5 % (-12 V: 10 %)", tolerance / whole), ("TUR, 1 %", abs(volts) * 0.01 / whole)):
                printed, one = row[column].split(":")
                self.assertEqual("1", one)
                digits = len(printed.split(".")[1]) if "." in printed else 0
                self.assertAlmostEqual(float(printed), ratio, delta=0.51 * 10**-digits, msg=(row, ratio))

    def test_meter(self):
        bound = 0.05e-2 * 12 + 2e-3
        self.assertIn(f"at 12 V {bound * 1e3:.0f} mV, u = {bound / math.sqrt(3) * 1e3:.2f} mV", FLAT)

    def test_what_to_change_first(self):
        """The meter's term, then the divider's too (1.950 mV to a fifth), exchanged in the precise build's sum of squares."""
        old, new = (0.05e-2 * 12 + 2e-3) / math.sqrt(3), (0.02e-2 * 12 + 0.5e-3) / math.sqrt(3)
        meter = math.sqrt(5.235e-3**2 - old**2 + new**2)
        network = math.sqrt(meter**2 - 1.950e-3**2 + 0.390e-3**2)
        self.assertIn(f"from {expanded('precise', '+12 V', 320) * 1e3:.1f} to "
                      f"{expanded('precise', '+12 V', 320, meter) * 1e3:.1f} mV", FLAT)
        self.assertIn(f"then to {expanded('precise', '+12 V', 320, network) * 1e3:.1f} mV", FLAT)

    def test_verification_example_by_hand(self):
        together = math.hypot(10.5, 8.0)
        self.assertIn(f"E_n = 4.0 / {together:.1f} = {4.0 / together:.2f}", FLAT)

    def test_shared_return(self):
        self.assertIn(f"10 mohm of shared return at 20 A is {10e-3 * 20 * 1e3:.0f} mV", FLAT)
        self.assertEqual(19, round(0.2 / expanded("precise", "+12 V", 320)))

    def test_uncalibrated(self):
        """Rectangular bounds: two resistors of 1 % (what their ratio lets through), reference 0.5 %, gain and offset 0.5 % of
        full scale; the calibrated build's other terms (13.07 mV without its meter) stay."""
        ratio = 3.0 / 14.7
        bounds = [12 * (1 - ratio) * math.sqrt(2) * 0.01, 12 * 0.005, 0.005 * 4.096 / ratio]
        rest = math.sqrt(13.07e-3**2 - 4.62e-3**2)
        whole = 2 * math.sqrt(sum(bound**2 for bound in bounds) / 3 + rest**2)
        self.assertAlmostEqual(208e-3, whole, delta=0.5e-3)
        self.assertIn(f"0.5 % of full scale): {0.6 / whole:.1f}:1", FLAT)


if __name__ == "__main__":
    sys.exit(unittest.main())
