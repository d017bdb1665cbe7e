# SPDX-License-Identifier: Apache-2.0
"""Ground offset, comparators, clamp and shunt chain: the tables of front-end.md and current-sensing.md against ngspice."""
import math
import re
import sys
import unittest

import front_end
import jig
import side_channels
import spice
from tables import complaint, figures, rows

FRONT_END = (spice.NOTES / "front-end.md").read_text(encoding="utf-8")
LOAD_BANK = (spice.NOTES / "load-bank.md").read_text(encoding="utf-8")
CURRENT = (spice.NOTES / "current-sensing.md").read_text(encoding="utf-8")


class SideChannelsTest(unittest.TestCase):
    def right(self, row, column, *expected):
        wrong = complaint(row[column], *expected)
        self.assertIsNone(wrong, f"{list(row.values())[:2]}, {column}: {wrong}")

    def test_clamp(self):
        table = rows(FRONT_END, "What the clamp sees")
        self.assertEqual(4, len(table))
        for row in table:
            volts = figures(row["at the plug"])[0][0]
            lines = spice.netlist.elements(front_end.chain(), "p12") + front_end.chain().spice + front_end.SUPPLIES
            lead, held, top = spice.solve([*lines, f"Vplus plus 0 {volts}", "Vback return 0 0"], "v(lead1)", "v(in1)",
                                          "-i(Vplus)")
            self.right(row, "lead", lead)
            self.right(row, "held", held)
            self.right(row, "in Dt", top - lead / (front_end.parts_of("p12")["Rt1"] + front_end.parts_of("p12")["Rb1"]))
            self.right(row, "heat in Rp1", top**2 * front_end.parts_of("p12")["Rp1"])
            self.assertLess(held, 5.8)

    def test_ground_offset(self):
        lost = {"": None, "lead of the main return off": {"Rp2": ""}, "lead of the return off": {"Rp1": ""}}
        table = rows(FRONT_END, "Ground offset")
        self.assertEqual(6, len(table))
        for row in table:
            apart, _, fault = row["return above the main connector's"].partition(", ")
            level, reads = side_channels.ground_offset(figures(apart)[0][0], lost[fault])
            held = min(level, 5.0)  # the buffer ends at its supply
            self.right(row, "at the converter", held)
            self.right(row, "reads", reads)

    def test_ground_offset_by_hand(self):
        """Closed form of a difference amplifier: (R/2) / (1 kohm + Ri) on either side."""
        one = side_channels.part("ground-offset")
        gain = front_end.number(one.value_of("Rf1", "")) / 2 / (1000 + front_end.number(one.value_of("Ri1", "")))
        self.assertIn(f"10.53 kohm, {gain:.3f};", " ".join(FRONT_END.split()))
        low, high = (side_channels.ground_offset(apart)[0] for apart in (0.0, 0.1))
        self.assertAlmostEqual(gain, (high - low) / 0.1, delta=0.001)
        self.assertIn("takes the 0.4 % out", FRONT_END)
        self.assertAlmostEqual(0.004, gain / 4.096 - 1, delta=0.0005)

    def test_comparators(self):
        for row in rows(FRONT_END, "PWR_OK and PS_ON#: comparators"):
            upper, lower = side_channels.pulse(figures(row["pulse"])[0][0])
            for column, seen in (("below 2.39 V", upper), ("below 0.80 V", lower)):
                if row[column] == "none":
                    self.assertEqual(0.0, seen)
                else:
                    self.right(row, column, seen)
        slow = side_channels.pulse(1e-6, models={"Cjo=60p": "Cjo=600p"})
        self.assertLess(slow[1], 0.3e-6, "hardly reaches the lower level")
        upper, lower = side_channels.levels()
        self.assertIsNone(complaint("2.39 V", upper))
        self.assertIsNone(complaint("0.80 V", lower))

    def test_comparator_delay(self):
        found = side_channels.delays()
        self.assertEqual(8, len(found))
        self.assertIn(f"pass {min(found) * 1e6:.2f} to {max(found) * 1e6:.2f} us", FRONT_END)
        for name in ("reference", "small"):
            said = float(re.search(r"comparator_delay_s: ([\d.e-]+)", jig.text_of(name)).group(1))
            self.assertTrue(min(found) < said < max(found), said)

    def test_comparator_levels_by_hand(self):
        """The ladder from 4.096 V, and the lift of the main group's ground that front-end.md states."""
        one = side_channels.part("signals")
        top, middle, bottom = (front_end.number(one.value_of(name, "")) for name in ("Ru", "Rm", "Rl"))
        lift = front_end.group_case(jig.group_channels("main"))["ground"]
        self.assertAlmostEqual(0.178, lift, delta=0.0005)
        self.assertAlmostEqual(2.39, 4.096 * (middle + bottom) / (top + middle + bottom) + lift, delta=0.005)
        self.assertAlmostEqual(0.80, 4.096 * bottom / (top + middle + bottom) + lift, delta=0.005)

    def test_shunt_chain(self):
        per_code = {"a80": "current-processor", "a160": "current-graphics-1"}
        table = rows(CURRENT, "Ranges of the reference jig", 1)
        self.assertEqual(6, len(table))
        for row in table:
            variant = row["netlist"].split(",")[0].removeprefix("current-shunt-")
            changes = {"Ra2": ""} if "off" in row["netlist"] else None
            level, drop = side_channels.shunt(variant, figures(row["current"])[0][0], changes)
            channel, = [one for one in jig.channels("reference") if one["name"] == per_code[variant]]
            code = min(max((level - side_channels.MIDDLE_V) / 4.096 * 65536, -32768), 32768)
            self.right(row, "drop", drop)
            self.right(row, "at the converter", level)
            self.right(row, "reads", code * float(channel["unit_per_code"]))

    def test_shunt_channels_are_drawn_as_described(self):
        one = side_channels.part("current-shunt")
        said = {row["channel"]: row for row in rows(CURRENT, "Ranges of the reference jig")}
        drawn = {name: variant for variant, names in one.channels.items() for name in names}
        self.assertEqual(set(said), set(drawn))
        for name, variant in drawn.items():
            gain = 8 * 128e3 / front_end.number(one.value_of("Rgain", variant))
            self.right(said[name], "gain", gain)
            self.right(said[name], "sensor", front_end.number(one.value_of("Rsh", variant)))

    def test_ac_present(self):
        table = rows(FRONT_END, "AC-present")
        self.assertEqual(5, len(table))
        for row in table:
            level, reads = side_channels.ac_present(figures(row["adapter"])[0][0])
            self.right(row, "at the converter", level)
            self.right(row, "reads", reads)
        text = jig.text_of("reference")
        share = float(re.search(r"departure_share: ([\d.e-]+)", text).group(1))
        for hertz in (50, 60):  # the sine stays within the share for asin(share) of its phase on both sides of zero
            late = 2 * math.asin(share) / (2 * math.pi * hertz)
            self.assertIn(f"{late * 1e3:.2f} ms", FRONT_END)
            said = float(re.search(rf"mains_latency_{hertz}_s: ([\d.e-]+)", text).group(1))
            self.assertAlmostEqual(late, said, delta=1e-7)

    def test_ps_on(self):
        states = {"key in `bench`, PB9 high": (3.3,), "key in `bench`, PB9 low": (0.0,),
                  "key in `bench`, PB9 floating (reset)": (0.0, {"Rb": ""}), "key out, PB9 high": (3.3, {"Sk": ""})}
        table = rows(LOAD_BANK, "PS_ON#")
        self.assertEqual(set(states), {row["state"] for row in table})
        for row in table:
            line, led = side_channels.ps_on(*states[row["state"]])
            self.right(row, "PS_ON#", line)
            self.right(row, "LED", led)
        self.assertAlmostEqual(1.6e-3, (5.25 - 0.4) / 3.03e3, delta=0.01e-3)

    def test_corners(self):
        """First poles: 2.37 kohm and 4.7 nF, 14.29 kHz; of the adapter's divider 14.5 kHz; the description says 14.182."""
        for name in ("current-shunt-a80", "current-shunt-a160", "ground-offset"):
            self.assertAlmostEqual(9.14e3, spice.shipped(name)["corner"], delta=40, msg=name)
        self.assertAlmostEqual(9.22e3, spice.shipped("ac-present")["corner"], delta=40)
        self.assertAlmostEqual(14.29e3, 1 / (2 * math.pi * 2.37e3 * 4.7e-9), delta=5)


if __name__ == "__main__":
    sys.exit(unittest.main())
