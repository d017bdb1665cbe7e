# SPDX-License-Identifier: Apache-2.0
"""The figures of hardware-notes, worked out again, and the channel map against the jig's description."""
import math
import pathlib
import re
import sys
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[3]
NOTES = ROOT / "hardware-notes"


def text_of(name):
    return re.sub(r"\s+", " ", (NOTES / name).read_text(encoding="utf-8"))


class SafetyFiguresTest(unittest.TestCase):
    def setUp(self):
        self.text = text_of("safety.md")

    def says(self, figure):
        self.assertIn(figure, self.text)

    def test_energy_of_primary_capacitors(self):
        self.says(f"{0.5 * 470e-6 * 400**2:.1f} J in 470 uF at 400 V")
        self.says(f"{0.5 * 330e-6 * 400**2:.1f} J in 330 uF")

    def test_time_to_60_volts(self):
        self.says(f"{1e6 * 470e-6 * math.log(400 / 60):.0f} s, a quarter of an hour, for 470 uF with 1 Mohm alone")
        self.says(f"{200e3 * 330e-6 * math.log(400 / 60):.0f} s for 330 uF with 200 kohm")

    def test_sense_lead_fault(self):
        self.says(f"carries {12 / 1000 * 1e3:.0f} mA and {12**2 / 1000 * 1e3:.0f} mW")

    def test_output_capacitors_into_a_short(self):
        self.says(f"6600 uF of output capacitors behind 15 mohm drive {12 / 15e-3:.0f} A")
        self.says(f"the first {6600e-6 * 15e-3 * 1e3:.1f} ms")

    def test_heat_of_the_load(self):
        self.says(f"50 A at 12 V is {50 * 12} W")

    def test_twelve_way_connector(self):
        even = 600 / 12 / 6
        self.says(f"600 W is {even:.2f} A a circuit, 55 A (the published limit) is {55 / 6:.2f} A")
        self.says(f"An imbalance of 1.29 makes one circuit carry {even * 1.29:.2f} A")
        self.says(f"one circuit at half the others' resistance carries {50 * 2 / (2 + 5):.1f} A")


class ChannelMapFiguresTest(unittest.TestCase):
    def test_delay_of_the_analogue_path(self):
        self.assertIn(f"{2 / (2 * math.pi * 14200) * 1e6:.1f} us later", text_of("channel-map.md"))


RAILS = {"RAIL_P12V": "+12V", "RAIL_P5V": "+5V", "RAIL_P3V3": "+3.3V", "RAIL_M12V": "-12V", "RAIL_P5VSB": "+5VSB"}
KINDS = {"RAIL_VOLTAGE": "V", "CURRENT": "A", "LOGIC": "logic", "GROUND_OFFSET": "ground offset",
         "AC_PRESENT": "AC-present", "AUXILIARY": "auxiliary"}


def described(name):
    """The rows a channel map of this description has."""
    description = (ROOT / "host/data/jigs" / f"{name}.textproto").read_text(encoding="utf-8").split("calibration {")[0]
    expected = []
    for block in re.findall(r"^channels \{(.*?)^\}", description, re.DOTALL | re.MULTILINE):
        fields = dict(re.findall(r'(\w+): "?([^"\s]+)"?', block))
        expected.append([fields["index"], fields["input"], fields["name"],
                         KINDS[fields["kind"].removeprefix("CHANNEL_KIND_")], RAILS.get(fields.get("rail"), ""),
                         fields["connector"], fields.get("current_channel", ""), fields.get("ground_channel", "")])
    return expected


class ChannelMapTest(unittest.TestCase):
    def test_equals_the_descriptions(self):
        rows = [[cell.strip() for cell in line.strip("|\n").split("|")]
                for line in (NOTES / "channel-map.md").read_text(encoding="utf-8").splitlines() if re.match(r"\| \d", line)]
        reference, small = described("reference"), described("small")
        self.assertEqual((24, 8), (len(reference), len(small)))
        self.assertEqual(reference + small, rows)


class LinksTest(unittest.TestCase):
    def test_every_link_leads_somewhere(self):
        seen = 0
        for path in NOTES.glob("*.md"):
            for target in re.findall(r"\]\(([^)#]+)\)", path.read_text(encoding="utf-8")):
                seen += 1
                self.assertTrue((NOTES / target).exists(), (path.name, target))
        self.assertGreater(seen, 10)

    def test_every_drawing_and_document_is_named(self):
        text = "".join(path.read_text(encoding="utf-8") for path in NOTES.glob("*.md"))
        names = [path.name for path in [*NOTES.glob("drawings/*.svg"), *NOTES.glob("*.md")] if path.name != "README.md"]
        self.assertEqual([], [name for name in names if name not in text])


class TermsTest(unittest.TestCase):
    def test_each_term_stands_once_with_a_source(self):
        rows = [[cell.strip() for cell in line.strip("|").split("|")]
                for line in (NOTES / "terms.md").read_text(encoding="utf-8").splitlines()
                if line.startswith("|") and not line.startswith(("|---", "| term"))]
        self.assertGreater(len(rows), 40)
        for row in rows:
            self.assertEqual(3, len(row), row)
            self.assertTrue(all(row), row)
        names = [name.strip() for row in rows for name in row[0].split(",")]
        self.assertEqual(sorted(set(names)), sorted(names))


if __name__ == "__main__":
    sys.exit(unittest.main())
