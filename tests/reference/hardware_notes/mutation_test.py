# SPDX-License-Identifier: Apache-2.0
"""The checks themselves: a resistor or capacitor changed in the notes, or a figure, must make one of them fail."""
import re
import sys
import unittest

import calibration_test
import front_end
import front_end_test
import load_bank
import load_bank_test
import side_channels_test
import wiring_test


def failures(case, text=None, names=None, document="TEXT"):
    """Number of tests of a class that fail (of these names, or all), with the text of a document exchanged."""
    module = sys.modules[case.__module__]
    kept = getattr(module, document)
    setattr(module, document, text or kept)
    try:
        loader = unittest.defaultTestLoader
        suite = unittest.TestSuite(case(name) for name in names or loader.getTestCaseNames(case))
        result = unittest.TestResult()
        suite.run(result)
        assert not result.errors, result.errors
        return len(result.failures)
    finally:
        setattr(module, document, kept)


def first_row_changed(text, heading, old, new):
    """`text` with `old` exchanged once, below `heading`."""
    before, after = text.split(f"## {heading}\n", 1)
    assert old in after, (heading, old)
    return f"{before}## {heading}\n{after.replace(old, new, 1)}"


class ChangedDocumentTest(unittest.TestCase):
    def test_front_end(self):
        text = front_end_test.TEXT
        for heading, old, new in [
                ("Parts of a leg", "| 10.7 kohm |", "| 10.5 kohm |"), ("Parts of a leg", "| 5.6 nF | 2.00 kohm |", "| 4.7 nF | 2.00 kohm |"),
                ("What the chain does", "9.13 kHz", "9.14 kHz"), ("What a short dip keeps of its depth", "46.6 %", "46.8 %"),
                ("Faults of one channel", "5.71 V", "5.27 V"), ("Faults of one channel", "12.00 mA", "11.90 mA"),
                ("Groups", "| 1.993 V |", "| 1.990 V |"), ("Groups", "| 0.88 V |", "| 1.68 V |"), ("Heat", "144 mW", "143 mW")]:
            self.assertGreater(failures(front_end_test.FrontEndTest, first_row_changed(text, heading, old, new)), 0, (old, new))

    def test_load_bank(self):
        text = load_bank_test.TEXT
        for heading, old, new in [
                ("Branches", "| 1.2 ohm |", "| 1.3 ohm |"), ("Branches", "18.5 V", "18.4 V"), ("Branches", "| 113 W |", "| 112 W |"),
                ("Faults of a 12 V, 10 A branch", "| 276 A |", "| 270 A |"),
                ("Gate supply: the interlock", "| 7.6 ms |", "| 7.5 ms |")]:
            self.assertGreater(failures(load_bank_test.LoadBankTest, first_row_changed(text, heading, old, new)), 0, (old, new))

    def test_the_other_documents(self):
        for module, case, document, heading, old, new in [
                (wiring_test, "WireTest", "WIRING", "Before any supply is connected", "14.70 kohm", "14.80 kohm"),
                (wiring_test, "WireTest", "WIRING", "Thermistors", "| 0.76 V |", "| 0.77 V |"),
                (wiring_test, "PinsTest", "WIRING", "Graphics plugs", "| 1, 2, 3 | 5, 7, 8 |", "| 5, 7, 8 | 1, 2, 3 |"),
                (wiring_test, "PinsTest", "WIRING", "Main connector, 24 pins", "| 9 | +5VSB |", "| 9 | PWR_OK |"),
                (wiring_test, "CurrentTest", "CURRENT", "What a reading is worth, at 50 A", "0.087 A", "0.086 A"),
                (side_channels_test, "SideChannelsTest", "CURRENT", "Ranges of the reference jig", "| 3.327 V |", "| 3.328 V |"),
                (side_channels_test, "SideChannelsTest", "FRONT_END", "Ground offset", "| 2.665 V |", "| 2.662 V |"),
                (side_channels_test, "SideChannelsTest", "LOAD_BANK", "PS_ON#", "| 0.14 V |", "| 0.40 V |"),
                (calibration_test, "CalibrationTest", "TEXT", "What it is worth", "| 26.2 mV |", "| 25.4 mV |"),
                (load_bank_test, "IsolatedSupplyTest", "ARCHITECTURE", "The isolated supply", "| 76 mW |", "| 79 mW |")]:
            text = first_row_changed(getattr(module, document), heading, old, new)
            self.assertGreater(failures(getattr(module, case), text, document=document), 0, (old, new))

    def test_unchanged_documents_pass(self):
        self.assertEqual(0, failures(front_end_test.FrontEndTest))


class ChangedPartTest(unittest.TestCase):
    """A part of the front end 5 % larger in the circuit: the figures of front-end.md no longer hold."""

    def changed(self, variant, part, factor):
        """Whether a check fails, the comparison of the printed part values left aside."""
        one = front_end.chain()
        value = one.value_of(part, variant)
        label, values = one.variants[variant]
        kept = one.parts[part].value
        other = f"{float(value[:-1]) * factor:g}{value[-1]}"
        if part in values:
            one.variants[variant] = (label, {**values, part: other})
        else:
            one.parts[part].value = other
        try:
            return any(failures(front_end_test.FrontEndTest, names=[name])
                       for name in ("test_legs_are_alike", "test_what_the_chain_does", "test_faults_of_one_channel",
                                    "test_short_dips"))
        finally:
            one.variants[variant] = (label, values)
            one.parts[part].value = kept

    def test_each_part_counts(self):
        for part in ("Rp1", "Rt1", "Rb1", "C1", "Rs1", "R21", "C21", "Rp2", "Rt2", "Rb2", "C2", "Rs2", "R22", "C22"):
            self.assertTrue(self.changed("p12", part, 1.05), part)

    def test_each_rail_counts(self):
        for variant in ("p5", "p3v3", "m12", "logic"):
            for part in ("Rt1", "Rb1", "C1"):
                self.assertTrue(self.changed(variant, part, 1.05), (variant, part))

    def test_unchanged_parts_agree(self):
        self.assertFalse(self.changed("p12", "Rp1", 1.0))

    def test_a_weaker_interlock_is_seen(self):
        """Pump capacitors of ten times the value hold the gates for longer than the promise."""
        slow = load_bank.gate_supply_case(load_bank_test.STOPS_HIGH, changes={"Cp": "1u", "Ch": "1u"})
        self.assertFalse(slow["last"] < 1 and slow.get("gone_ms", 99) < 10)

    def test_spice_complaints_are_errors(self):
        with self.assertRaises(front_end_test.spice.SpiceError):
            front_end_test.spice.run("* bad\nR1 a 0 nonsense_value\nV1 a 0 1\nQ1 a b c MISSING\n.control\nop\nprint v(q)\n.endc\n.end\n")
        self.assertIsNone(re.search(r"error", front_end_test.TEXT, re.IGNORECASE))


if __name__ == "__main__":
    sys.exit(unittest.main())
