# SPDX-License-Identifier: Apache-2.0
"""The tables of front-end.md against ngspice, run here on the netlists of hardware-notes."""
import math
import sys
import unittest

import front_end
import jig
import spice
from tables import complaint, figures, rows

TEXT = (spice.NOTES / "front-end.md").read_text(encoding="utf-8")

# Fault of one channel -> what is done to the circuit.
CHANNEL_FAULTS = {
    "+12 V: Rt1 shorted": lambda: front_end.leg_case("p12", 12, changes={"Rt1": "1m"}),
    "+12 V: Rb1 open": lambda: front_end.leg_case("p12", 12, changes={"Rb1": ""}),
    "+3.3 V input on 12 V (wrong plug)": lambda: front_end.leg_case("p3v3", 12),
    "-12 V: Rt1 shorted": lambda: front_end.leg_case("m12", -12, changes={"Rt1": "1m"}),
    "-12 V with a UNIDIRECTIONAL clamp": lambda: front_end.leg_case("m12", -12, extra=["Duni 0 lead1 DLOW"]),
    "short at the tap: lead of + on another return": lambda: front_end.leg_case("p12", 12, extra=["Rx lead1 0 1m"]),
    "leads of + and return on each other": lambda: front_end.leg_case("p12", 12, extra=["Rx lead1 lead2 1m"]),
    "lead of + off": lambda: front_end.leg_case("p12", 12, changes={"Rp1": ""}),
    "reversed plug": lambda: front_end.leg_case("p12", 0, 12),
    "-12 V: reversed plug": lambda: front_end.leg_case("m12", 0, -12),
    "return on +12 V": lambda: front_end.leg_case("p12", 12, 12),
    "return off, plug's return 0.15 V above ground": lambda: front_end.leg_case("p12", 12.15, 0.15, changes={"Rp2": ""}),
}
TIED = ["Rx c0_lead2 c1_lead2 1m"]


def group_fault(name, fault):
    channels = [("p12", 12.0, 0.0)] * 8 if name == "eight of +12 V" else jig.group_channels(name)
    if fault.startswith("two returns tied"):
        channels = [channels[0], (channels[1][0], channels[1][1] + 0.2, 0.2), *channels[2:]]
    options = {
        "none": {}, "ground tie open": {"changes": {"Rtie": "1g"}}, "tie on +12 V": {"tie_at": 12.0},
        "two returns tied, 0.2 V apart": {"extra": TIED}, "every Rt1 shorted": {"channel_changes": {"Rt1": "1m"}},
        "unpowered on a live supply": {"powered": False},
        "unpowered, bleed of 2.2 kohm only": {"powered": False, "changes": {"Rv": "2.2k"}},
    }[fault]
    return front_end.group_case(channels, **options)


class FrontEndTest(unittest.TestCase):
    def right(self, row, column, *expected):
        wrong = complaint(row[column], *expected)
        self.assertIsNone(wrong, f"{list(row.values())[:2]}, {column}: {wrong}")

    def test_parts(self):
        table = rows(TEXT, "Parts of a leg")
        self.assertEqual({f"front-end-{name}" for name in front_end.chain().variants}, {row["netlist"] for row in table})
        for row in table:
            variant = row["netlist"].removeprefix("front-end-")
            self.assertEqual(front_end.chain().variants[variant][0], row["channel"])
            for column, part in {"Rp": "Rp1", "Rt": "Rt1", "Rb": "Rb1", "C": "C1", "R2": "R21", "C2": "C21"}.items():
                self.right(row, column, front_end.number(front_end.chain().value_of(part, variant)))
            lifted = front_end.chain().value_of("Jref", variant) != ""
            self.assertEqual("4.096 V" if lifted else "ground", row["Rb1 ends at"])

    def test_legs_are_alike(self):
        for variant in front_end.chain().variants:
            for one, other in [("Rp1", "Rp2"), ("Rt1", "Rt2"), ("Rb1", "Rb2"), ("C1", "C2"), ("Rs1", "Rs2"), ("Rg1", "Rg2"),
                               ("R21", "R22"), ("C21", "C22")]:
                self.assertEqual(front_end.chain().value_of(one, variant), front_end.chain().value_of(other, variant))

    def test_what_the_chain_does(self):
        for row in rows(TEXT, "What the chain does"):
            variant = {label: name for name, (label, _) in front_end.chain().variants.items()}[row["channel"]]
            parts, ratio = front_end.parts_of(variant), front_end.ratio(variant)
            found = spice.shipped(f"front-end-{variant}")
            top = parts["Rp1"] + parts["Rt1"]
            source = top * parts["Rb1"] / (top + parts["Rb1"])
            self.right(row, "ratio", ratio)
            self.right(row, "full scale", front_end.reading(variant, 0.0), front_end.reading(variant, front_end.FULL_SCALE_V))
            self.right(row, "nominal, at the converter", found["at_converter"])
            self.right(row, "from the rail", found["from_rail"])
            self.right(row, "poles", 1 / (2 * math.pi * source * parts["C1"]), 1 / (2 * math.pi * parts["R21"] * parts["C21"]))
            for column, figure in {"-3 dB": "corner", "16 kHz": "at_16k", "65 kHz": "at_65k", "100 kHz": "at_100k"}.items():
                self.right(row, column, found[figure])

    def test_short_dips(self):
        table = rows(TEXT, "What a short dip keeps of its depth")
        self.assertEqual(5, len(table))
        for row in table:
            width = figures(row["width"])[0][0]
            best, worst = front_end.dip("p12", width, 1.0)
            self.right(row, "best placed", best)
            self.right(row, "worst placed", worst)

    def test_faults_of_one_channel(self):
        table = rows(TEXT, "Faults of one channel")
        self.assertEqual(set(CHANNEL_FAULTS), {row["fault"] for row in table})
        for row in table:
            found = CHANNEL_FAULTS[row["fault"]]()
            for column, figure in {"divider": "mid", "held": "clamped", "current": "plus_a", "reads": "reads"}.items():
                self.right(row, column, found[figure])
        self.assertAlmostEqual(12 / 1000, CHANNEL_FAULTS["short at the tap: lead of + on another return"]()["plus_a"], places=5)

    def test_groups(self):
        for row in rows(TEXT, "Groups"):
            found = group_fault(row["group"], row["fault"])
            self.right(row, "ground", found["ground"])
            self.right(row, "in the tie", found["tie_a"])
            self.right(row, "v5a", found["v5a"])
            if row["fault"].startswith("unpowered"):
                self.assertEqual("none", row["reads"])
            else:
                self.right(row, "reads", found["reads"])

    def test_ground_with_one_rail_live(self):
        lower = []
        for name in jig.GROUPS:
            channels = jig.group_channels(name)
            alone = [channels[0], *((variant, 0.0, 0.0) for variant, _, _ in channels[1:])]
            lower.append(front_end.group_case(channels)["ground"] - front_end.group_case(alone)["ground"])
        self.assertIn(f"up to {max(lower):.2f} V lower", TEXT)
        self.assertIn(f"that is {max(lower):.2f} mV at the tap", TEXT)

    def test_returns_tied(self):
        channels = jig.group_channels("graphics")
        channels[1] = ("p12", 12.2, 0.2)
        for current, changes in [("0.09 mA", None), ("1.98 A", {"Rp2": "50m"})]:
            found = front_end.group_case(channels, extra=TIED, channel_changes=changes)
            offset = front_end.group_case(jig.group_channels("graphics"), channel_changes=changes)["return_a"]
            between = found["return_a"] - offset
            self.assertIsNone(complaint(current, between), between)
            self.assertIn(f"{current} ", TEXT)

    def test_shunt_clamp(self):
        row, = rows(TEXT, "Groups", 1)
        feed = [f"If 0 v5a {figures(row['into v5a'])[0][0]}", "Vt tie 0 0", "Rr vref 0 1g"]
        parts = front_end.group()
        for column, changes in [("v5a with the shunt", {}), ("v5a with the bleed alone", {"Dv": ""})]:
            level, = spice.solve(parts.spice + spice.netlist.elements(parts, changes=changes) + feed, "v(v5a)")
            self.right(row, column, level)

    def test_heat(self):
        main = front_end.group_case(jig.group_channels("main"), tie_at=12.0)
        shorted = CHANNEL_FAULTS["+12 V: Rt1 shorted"]()
        over = front_end.leg_case("p12", 15.6)
        heat = {
            ("Rp1", "lead of + on another return"): CHANNEL_FAULTS["short at the tap: lead of + on another return"]()["plus_a"] ** 2
            * 1000,
            ("Rp1", "-12 V with a unidirectional clamp"):
                CHANNEL_FAULTS["-12 V with a UNIDIRECTIONAL clamp"]()["plus_a"] ** 2 * 1000,
            ("Rt1", "+12 V at 15.6 V"): over["plus_a"] ** 2 * front_end.parts_of("p12")["Rt1"],
            ("Rs1", "Rt1 shorted"): shorted["into_v5a"] ** 2 * 1000,
            ("Rtie", "main group, tie on +12 V"): main["tie_a"] ** 2 * 100,
            ("Rv", "v5a at 5 V"): 25 / 470,
        }
        table = rows(TEXT, "Heat")
        self.assertEqual(set(heat), {(row["part"], row["worst case"]) for row in table})
        for row in table:
            watts = heat[row["part"], row["worst case"]]
            self.right(row, "heat", watts)
            self.assertGreater(figures(row["fit at least"])[0][0], 2 * watts, row)


class DipTest(unittest.TestCase):
    """Against golden values of an independent program in Python for two coincident poles of 14.2 kHz; the circuit's poles
    differ from those by 0.1 %, and its diodes and buffer add 8 pF."""
    GOLDEN = {20: (0.580514627, 0.286118186), 31.25: (0.781666827, 0.467057389), 50: (0.938237957, 0.733951077),
              100: (0.998676342, 0.986609422), 200: (0.999999665, 0.999995417)}

    def test_golden(self):
        for width, (best, worst) in self.GOLDEN.items():
            found = front_end.dip("p12", width * 1e-6, 1.0)
            self.assertAlmostEqual(best, found[0], delta=0.002, msg=width)
            self.assertAlmostEqual(worst, found[1], delta=0.002, msg=width)

    def test_closed_form_of_the_peak(self):
        """Step response of two coincident poles w: 1 - (1 + w t) exp(-w t); a pulse is the difference of two steps."""
        w = 2 * math.pi * 14200
        step = lambda t: 1 - (1 + w * t) * math.exp(-w * t) if t > 0 else 0.0  # noqa: E731
        for width in (20e-6, 50e-6, 100e-6):
            peak = max(step(t * 1e-7) - step(t * 1e-7 - width) for t in range(3000))
            self.assertAlmostEqual(peak, front_end.dip("p12", width, 1.0)[0], delta=0.002)


if __name__ == "__main__":
    sys.exit(unittest.main())
