# SPDX-License-Identifier: Apache-2.0
"""Drawings, netlists and parts list are what the circuits make; and the maker of them finds what it is for."""
import csv
import pathlib
import re
import shutil
import sys
import tempfile
import unittest
import xml.etree.ElementTree

import front_end
import jig
import spice
from spice import NOTES, circuit, netlist
import drawing
import generate
import symbols

SVG = "{http://www.w3.org/2000/svg}"


def read_text(text):
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "c.circuit"
        path.write_text(text, encoding="utf-8")
        return circuit.read(path)


class GeneratedTest(unittest.TestCase):
    def test_files_are_what_the_circuits_make(self):
        self.assertEqual([], generate.differences())

    def test_a_changed_resistor_is_seen(self):
        with tempfile.TemporaryDirectory() as folder:
            copy = pathlib.Path(folder) / "notes"
            shutil.copytree(NOTES, copy)
            path = copy / "circuits" / "front-end.circuit"
            path.write_text(path.read_text(encoding="utf-8").replace("Rt1=10.7k", "Rt1=10.5k"), encoding="utf-8")
            self.assertEqual(["drawings/front-end.svg", "netlists/front-end-p12.cir", "parts.csv"], generate.differences(copy))

    def test_drawings_show_every_part_with_its_value(self):
        for one in generate.circuits():
            root = xml.etree.ElementTree.fromstring((NOTES / "drawings" / f"{one.name}.svg").read_text(encoding="utf-8"))
            said = [element.text for element in root.iter(f"{SVG}text")]
            for part in one.parts.values():
                self.assertIn(part.name, said, one.name)
                if part.kind in symbols.UNITS and not any(part.name in values for _, values in one.variants.values()):
                    self.assertIn(symbols.readable(part.kind, part.value), said, part.name)
            for _, values in one.variants.values():
                for name, value in values.items():
                    self.assertIn(symbols.readable(one.parts[name].kind, value), said, name)

    def test_netlists_name_every_part_once(self):
        for one in generate.circuits():
            for variant in one.variants or [""]:
                lines = netlist.elements(one, variant)
                names = [line.split()[0] for line in lines]
                self.assertEqual(len(set(names)), len(names))
                for part in one.parts.values():
                    if one.value_of(part.name, variant):
                        self.assertTrue(any(part.name in name for name in names), part.name)

    def test_every_netlist_runs(self):
        for path in sorted((NOTES / "netlists").glob("*.cir")):
            self.assertTrue(spice.run(path.read_text(encoding="utf-8")), path.name)


class ReaderTest(unittest.TestCase):
    DIVIDER = ("title t\nsize 20 20\nport in 0 0 left\nwire 0 0 2 0\npart R1 resistor 1k 2 0 right\n"
               "part R2 resistor 2k 6 0 down\nground 0 6 4\nnet mid 6 0 above\n")

    def test_joins_what_touches(self):
        one = read_text(self.DIVIDER)
        self.assertEqual(["RR1 in mid 1k", "RR2 mid 0 2k"], netlist.elements(one))

    def test_crossing_wires_are_not_joined(self):
        one = read_text("part R1 resistor 1k 0 0 right\npart R2 resistor 1k 8 0 right\nwire 4 0 8 0\n"
                        "part R3 resistor 1k 6 -6 down\npart R4 resistor 1k 6 2 down\nwire 6 -2 6 2\n"
                        "net a 0 0 left\nnet b 12 0 left\nnet c 6 -6 left\nnet d 6 6 left\n")
        self.assertNotEqual(one.net_of("R1", "2"), one.net_of("R3", "2"))
        self.assertEqual(one.net_of("R3", "2"), one.net_of("R4", "1"))

    def test_mistakes_are_named(self):
        for text, said in [
                (self.DIVIDER + "part R3 resistor 1k 10 10 right\n", "R3.1 is joined to nothing"),
                (self.DIVIDER + "wire 6 0 9 0\n", "a wire ends at (9, 0) in the air"),
                (self.DIVIDER + "net other 6 0 left\n", "nets mid and other are joined"),
                (self.DIVIDER + "part R2 resistor 1k 10 10 right\n", ":9: R2 stands twice"),
                (self.DIVIDER + "resistor R9\n", ":9: no statement is called resistor"),
                (self.DIVIDER + "part R9 coil 1k 0 0 right\n", ":9: "),
                (self.DIVIDER + "variant v x R7=1k\n", "R7, which is not drawn"),
                (self.DIVIDER + 'part R8 resistor "" 0 0 right\n', ":9: R8 has no value")]:
            with self.assertRaisesRegex(circuit.CircuitError, re.escape(said)):
                read_text(text)

    def test_values_are_readable(self):
        for kind, value, read in [("resistor", "10.7k", "10.7 k\u03a9"), ("resistor", "470", "470 \u03a9"),
                                  ("resistor", "10m", "10 m\u03a9"), ("capacitor", "4.7n", "4.7 nF"),
                                  ("inductor", "2u", "2 \u00b5H"), ("link", "", "left out"), ("link", "1m", "fitted")]:
            self.assertEqual(read, symbols.readable(kind, value))

    def test_what_svg_could_read_as_a_tag_is_told_otherwise(self):
        one = read_text(self.DIVIDER + 'note "a < b & c"\n')
        self.assertIn("a &lt; b &amp; c", drawing.svg(one))


class PartsListTest(unittest.TestCase):
    def setUp(self):
        with open(NOTES / "parts.csv", encoding="utf-8", newline="") as file:
            self.rows = list(csv.DictReader(file))

    def test_quantities_by_hand(self):
        """13 voltage and logic channels of two legs, two ground offsets of two, two lines with comparators: 32 tap resistors of
        1 kohm; three ground ties; eight switches; two diodes a leg and a line."""
        chains = [channel for channel in jig.channels("reference") if jig.variant_of(channel["name"])]
        self.assertEqual(13, len(chains))
        for part, value, quantity in [("resistor, flameproof", "1 kohm", 32), ("resistor, flameproof", "100 ohm", 3),
                                      ("MOSFET, n-channel", "60 V, 5 mohm at 4.5 V", 8),
                                      ("diode, low leakage", "low-leakage", 56)]:
            found = [row["quantity"] for row in self.rows if (row["part"], row["value"]) == (part, value)]
            self.assertEqual([str(quantity)], found, (part, value))

    def test_every_row_says_what_matters(self):
        self.assertGreater(len(self.rows), 60)
        for row in self.rows:
            self.assertTrue(row["part"] and row["quantity"] and row["property that matters"], row)

    def test_no_shop_no_price(self):
        text = (NOTES / "parts.csv").read_text(encoding="utf-8")
        self.assertIsNone(re.search(r"https?:|www\.|\bEUR\b|\bUSD\b|\$|\u20ac", text))

    def test_every_drawn_channel_exists_and_is_wired(self):
        known = {channel["name"] for channel in jig.channels("reference")}
        drawn = [name for names in front_end.chain().channels.values() for name in names]
        self.assertEqual(sorted(set(drawn)), sorted(drawn))
        self.assertTrue(set(drawn) <= known)
        voltages = {channel["name"] for channel in jig.channels("reference")
                    if channel["kind"] in ("CHANNEL_KIND_RAIL_VOLTAGE", "CHANNEL_KIND_LOGIC")}
        self.assertEqual(voltages, set(drawn))


if __name__ == "__main__":
    sys.exit(unittest.main())
