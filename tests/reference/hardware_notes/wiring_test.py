# SPDX-License-Identifier: Apache-2.0
"""Figures and pins of wiring.md and current-sensing.md: by hand, from wire tables, from the circuits."""
import math
import re
import sys
import unittest

import front_end
import jig
from spice import NOTES, ROOT
from tables import complaint, figures, rows

WIRING = (NOTES / "wiring.md").read_text(encoding="utf-8")
CURRENT = (NOTES / "current-sensing.md").read_text(encoding="utf-8")
FLAT_CURRENT, FLAT_WIRING = (" ".join(text.split()) for text in (CURRENT, WIRING))


def pins(cell):
    return [int(pin) for pin in re.findall(r"\d+", cell)]


class Rows(unittest.TestCase):
    def right(self, row, column, *expected):
        wrong = complaint(row[column], *expected)
        self.assertIsNone(wrong, f"{list(row.values())[:2]}, {column}: {wrong}")


class PinsTest(Rows):
    def test_main_connector(self):
        """Signal of every pin as document 336521 Table 5-1 has it (order from a secondary page)."""
        published = dict(zip(range(1, 25), (
            "+3.3V +3.3V COM +5V COM +5V COM PWR_OK +5VSB +12V1 +12V1 +3.3V +3.3V -12V COM PS_ON# COM COM COM none +5V +5V "
            "+5V COM").split()))
        written = {pin: row["signal"].split()[0] for row in rows(WIRING, "Main connector, 24 pins") for pin in pins(row["pin"])}
        self.assertEqual(published, written)

    def test_main_taps_lie_on_their_pins(self):
        for row in rows(WIRING, "Main connector, 24 pins"):
            for pin in re.findall(r"(?:tap|tie|legs?)[^;]*? at pins? ([\d, ]+\d|\d+)", row["in the jig"]):
                self.assertTrue(set(pins(pin)) <= set(pins(row["pin"])), row)

    def test_every_channel_of_the_main_connector_has_a_return_leg(self):
        """Seven pairs leave the main connector; the tie takes a pin of its own."""
        back, = [row["in the jig"] for row in rows(WIRING, "Main connector, 24 pins") if row["signal"] == "COM"]
        legs, tie = (pins(re.search(pattern, back).group(1)) for pattern in (r"at pins ([\d, ]+);", r"tie at pin (\d+)"))
        pairs = [channel for channel in jig.channels("reference")
                 if channel["connector"] == "main" and jig.variant_of(channel["name"])]
        self.assertEqual(len(pairs), len(legs))
        self.assertFalse(set(legs) & set(tie))

    def test_twelve_volts_and_returns(self):
        """Document 336521, Tables 5-4, 5-5, 5-7 and 5-8 (read); 2x4 processor from memory."""
        published = {"2x2": ([3, 4], [1, 2]), "2x4": ([5, 6, 7, 8], [1, 2, 3, 4]), "2x3, 75 W": ([1, 2, 3], [4, 6]),
                     "2x4, 150 W": ([1, 2, 3], [5, 7, 8]), "12-way, 600 W": ([1, 2, 3, 4, 5, 6], [7, 8, 9, 10, 11, 12])}
        table = rows(WIRING, "Processor plugs") + rows(WIRING, "Graphics plugs")
        written = {}
        for row in table:
            live, back = (row.get(f"+12V{name} pins (yellow)") for name in ("2", "3/4"))
            written[row["plug"]] = (pins(live or back), pins(row["COM pins (black)"]))
            tapped, = pins(re.search(r"tap (?:processor-\d )?at pin (\d+)", row["in the jig"]).group(1))
            returned, = pins(re.search(r"return leg at pin (\d+)", row["in the jig"]).group(1))
            self.assertIn(tapped, written[row["plug"]][0])
            self.assertIn(returned, written[row["plug"]][1])
        self.assertEqual(published, written)

    def test_sideband_and_sense_pins_pass(self):
        for row in rows(WIRING, "Graphics plugs"):
            self.assertIn("straight through", row["in the jig"])
        for name in ("SENSE0", "SENSE1", "CARD_PWR_STABLE", "CARD_CBL_PRES#", "Sense0", "Sense1"):
            self.assertIn(name, WIRING)
        self.assertIn("SENSE WIRE straight through", WIRING)

    def test_every_channel_with_a_tap_is_wired(self):
        for channel in jig.channels("reference"):
            if jig.variant_of(channel["name"]) and channel["connector"] in ("main", "processor-1", "processor-2", "peripheral"):
                self.assertIn(f"tap {channel['name']}", WIRING)


class WireTest(Rows):
    def test_copper(self):
        """ASTM B258 diameter, 17.241 nohm m at 20 C, 0.393 %/K; and ohms per 1,000 feet of a printed table."""
        printed = {14: 2.525, 16: 4.016, 18: 6.385, 24: 25.67, 28: 64.9}
        table = rows(WIRING, "Wire and plugs")
        self.assertEqual(5, len(table))
        for row in table:
            gauge = int(row["gauge"].split()[0])
            area = math.pi / 4 * (0.127e-3 * 92 ** ((36 - gauge) / 39)) ** 2
            ohm_per_m = 17.241e-9 / area
            self.right(row, "resistance", ohm_per_m)
            self.right(row, "at 60 C", ohm_per_m * (1 + 0.00393 * 40))
            self.assertAlmostEqual(1, ohm_per_m / (printed[gauge] / 304.8), delta=0.001)

    def test_burden(self):
        for row in rows(WIRING, "What the jig takes: burden"):
            added = 0.5e-3 + 2 * figures(row["contact"])[0][0] / 3
            self.right(row, "added", added)
            self.right(row, "lowered by", added * 12.5)

    def test_twelve_way_plug(self):
        self.assertIn(f"600 W is {600 / 12 / 6:.2f} A, 55 A is {55 / 6:.2f} A", WIRING)
        self.assertIn(f"80 % of the rating, {0.8 * 9.2 * 6:.0f} A", WIRING)

    def test_thermistors(self):
        """10 kohm exp(3950 (1/T - 1/298.15)) below 10 kohm of 3.3 V."""
        for row in rows(WIRING, "Thermistors"):
            kelvin = figures(row["at"])[0][0] + 273.15
            ohm = 10e3 * math.exp(3950 * (1 / kelvin - 1 / 298.15))
            self.right(row, "resistance", ohm)
            self.right(row, "voltage", 3.3 * ohm / (ohm + 10e3))

    def test_what_the_ohmmeter_shows(self):
        labels = {label: name for name, (label, _) in front_end.chain().variants.items()}
        for row in rows(WIRING, "Before any supply is connected"):
            parts = front_end.parts_of(labels[row["leg of"]])
            leg = parts["Rp1"] + parts["Rt1"] + parts["Rb1"]
            self.right(row, "each leg to ground", leg)
            self.right(row, "+ to return", 2 * leg)
        parts = front_end.parts_of("m12")
        self.assertIn(f"return to ground {(parts['Rp1'] + parts['Rt1'] + parts['Rb1']) / 1e3:.1f} kohm", FLAT_WIRING)
        self.assertIn(f"through {(parts['Rp1'] + parts['Rt1']) / 1e3:.1f} kohm and {parts['Rb1'] / 1e3:.0f} kohm", FLAT_WIRING)
        tie = front_end.number(front_end.group().value_of("Rtie", ""))
        self.assertIn(f"return: {tie:.0f} ohm", FLAT_WIRING)


class CurrentTest(Rows):
    def test_three_ways(self):
        ohms = {"shunt": 0.5e-3, "Hall": 0.1e-3, "drop": 9e-3}
        for row in rows(CURRENT, "Three ways, at 50 A on +12 V"):
            ohm = ohms[row["way"].split()[0]]
            self.right(row, "drop", 50 * ohm)
            self.right(row, "of 12 V", 50 * ohm / 12)
            self.right(row, "heat", 2500 * ohm)
            if not row["way"].startswith("Hall"):
                self.right(row, "signal", 50 * ohm)

    def test_ranges(self):
        per_code = {channel["name"]: float(channel["unit_per_code"]) for channel in jig.channels("reference")}
        for row in rows(CURRENT, "Ranges of the reference jig"):
            range_a = per_code[row["channel"]] * 32768
            signal = range_a * figures(row["sensor"])[0][0]
            self.right(row, "range", range_a)
            self.right(row, "full-scale signal", signal)
            self.right(row, "gain", 2.048 / signal)

    def test_budgets(self):
        """Rectangular bounds over the root of 3, summed in squares; the sums are those the description carries."""
        text = (ROOT / "host/data/jigs/reference.textproto").read_text(encoding="utf-8")
        bounds = {"tolerance": 50 * 0.002, "temperature,": 50 * 50e-6 * 60, "amplifier gain,": 50 * 50e-6 * 10,
                  "amplifier offset,": 30e-6 / 0.5e-3, "non-linearity,": 4 * 160 / 65536, "clamp": 50 * 0.0025,
                  "sensitivity left": 50 * 0.004, "sensitivity drift,": 50 * 0.0017, "offset": 0.25, "stray": 0.3}
        for nth, (sensor, channel) in enumerate([("shunt", "current-processor"), ("Hall sensor", "current-main-12v")]):
            total = 0.0
            for row in rows(CURRENT, "What a reading is worth, at 50 A", nth):
                name = row[f"contributor, {sensor}"]
                if name == "together":
                    self.right(row, "u", math.sqrt(total))
                    said = re.search(rf'channel: "{channel}" gain[^}}]*u_other: ([\d.e-]+)', text).group(1)
                    self.right(row, "u", float(said))
                    continue
                bound, = [value for start, value in bounds.items() if name.startswith(start)]
                self.right(row, "bound", bound)
                self.right(row, "u", bound / math.sqrt(3))
                total += bound**2 / 3
            way = rows(CURRENT, "Three ways, at 50 A on +12 V")[nth]
            self.assertAlmostEqual(2 * math.sqrt(total), figures(way["U, k = 2"])[0][0], delta=0.001)

    def test_in_words(self):
        for said in (f"{1.25 / 4:.2f} W each at 50 A", f"50 ppm/K over 60 K is {50e-6 * 60 * 100:.1f} %",
                     f"up to 30 uV, {30e-6 / 0.5e-3:.2f} A", f"is {4e-7 * math.pi * 50 / (2 * math.pi * 0.03) * 1e3:.2f} mT",
                     f"error of {20 * 27 / 93.75:.1f} A", f"by {-100 * 0.05**2 / 7**2:.3f} %",
                     f"{-100 * (1 - 1 / (1 + 0.05**2 / 0.2**2)):.1f} % when it spreads by 0.2 A"):
            self.assertIn(said, FLAT_CURRENT)


if __name__ == "__main__":
    sys.exit(unittest.main())
