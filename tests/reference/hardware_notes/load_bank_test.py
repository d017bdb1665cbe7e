# SPDX-License-Identifier: Apache-2.0
"""The tables of load-bank.md and the isolated supply of architecture.md against ngspice."""
import sys
import unittest

import load_bank
import spice
from tables import complaint, figures, rows

TEXT = (spice.NOTES / "load-bank.md").read_text(encoding="utf-8")
ARCHITECTURE = (spice.NOTES / "architecture.md").read_text(encoding="utf-8")
GATES = {"p12": "0 to 4", "p12-half": "5", "p5": "6", "p3v3": "7"}
FUSE_A2S = 400.0
OFF = {"vg": "0", "command": "0"}
BRANCH_FAULTS = {
    "load switch shorted": lambda: load_bank.branch_case("p12", extra=["Rx drain 0 5m"], command="0"),
    "load resistor shorted, gate on": lambda: load_bank.branch_case("p12", changes={"Rl": "5m", "Ll": "50n"}),
    "plug reversed": lambda: load_bank.branch_case("p12", supply="-12", **OFF),
    "gate wire off": lambda: load_bank.branch_case("p12", changes={"Rg": ""}),
    "unpowered on a supply that rises in 0.1 ms":
        lambda: load_bank.branch_case("p12", supply="PULSE(0 12 20u 100u 100u 1 2)", **OFF),
    "unpowered on a supply that rises in 1 us":
        lambda: load_bank.branch_case("p12", supply="PULSE(0 12 20u 1u 100u 1 2)", **OFF),
}
STOPS_HIGH = "PULSE(3.3 0 1m 1u 1u 0.999m 2m 15)"  # after 15 periods it stays at its first level
OPENS = ["Vx ctl 0 PULSE(1 0 30m 1u 1u 1 2)", "Sx sk_2 st_2 ctl 0 SX", ".model SX SW(Ron=20m Roff=1g Vt=.5 Vh=.1)"]
GATE_SUPPLY = {
    "line stops high": lambda: load_bank.gate_supply_case(STOPS_HIGH),
    "line stops low": lambda: load_bank.gate_supply_case("PULSE(0 3.3 1m 1u 1u 0.999m 2m 15)"),
    "line stops high, pump capacitors 10 % too large":
        lambda: load_bank.gate_supply_case(STOPS_HIGH, changes={"Cp": "363n", "Ch": "242n"}),
    "thermal cut-out opens": lambda: load_bank.gate_supply_case(load_bank.TOGGLING, changes={"St": ""}, extra=OPENS),
    "line never moves": lambda: load_bank.gate_supply_case("0"),
    "line ten times too slow": lambda: load_bank.gate_supply_case("PULSE(3.3 0 1m 1u 1u 9.999m 20m)"),
    "key not in `bench`": lambda: load_bank.gate_supply_case(load_bank.TOGGLING, changes={"Sk": ""}),
}


class LoadBankTest(unittest.TestCase):
    def right(self, row, column, *expected):
        wrong = complaint(row[column], *expected)
        self.assertIsNone(wrong, f"{list(row.values())[:2]}, {column}: {wrong}")

    def test_branches(self):
        table = rows(TEXT, "Branches")
        self.assertEqual({f"load-branch-{name}" for name in load_bank.branch().variants}, {row["netlist"] for row in table})
        for row in table:
            variant = row["netlist"].removeprefix("load-branch-")
            self.assertEqual(GATES[variant], row["gates"])
            first, last = (row["gates"].split(" to ") * 2)[:2]
            self.assertEqual([f"gate-{i}" for i in range(int(first), int(last) + 1)], load_bank.branch().channels[variant])
            found = spice.shipped(row["netlist"])
            heat = load_bank.branch_case(variant)
            self.right(row, "Rl", float(load_bank.branch().value_of("Rl", variant)))
            self.right(row, "current", found["on_current"])
            self.right(row, "rise", found["slew"] * 1e6)
            self.right(row, "fall", found["off_time"] * 1e-6)
            self.right(row, "peak", found["peak"])
            self.right(row, "heat in Rl", heat["load_heat"])
            self.right(row, "heat in M1", heat["switch_heat"])

    def test_in_words(self):
        case = load_bank.branch_case("p12")
        switching = (case["on_energy"] + case["off_energy"]) * 10e3
        self.assertIn(f"switching adds {switching:.2f} W to M1", TEXT)
        self.assertIn(f"lift it to {load_bank.branch_case('p12', changes={'Df': ''})['peak']:.1f} V", TEXT)
        bare = load_bank.branch_case("p12", changes={"Cs": ""})["peak"]
        self.assertIn(f"without it is {bare:.1f} V", " ".join(TEXT.split()))
        self.assertIn(f"heat the air of 30 l/s by {600 / (30e-3 * 1.2 * 1000):.0f} K", TEXT)
        self.assertLess(2 * case["peak"], 60.0)
        most = 5 * case["on"] + load_bank.branch_case("p12-half")["on"]
        self.assertIn(f"eleven levels from 5 to {most:.0f} A", TEXT)

    def test_faults(self):
        table = rows(TEXT, "Faults of a 12 V, 10 A branch")
        self.assertEqual(set(BRANCH_FAULTS), {row["fault"] for row in table})
        for row in table:
            found = BRANCH_FAULTS[row["fault"]]()
            current = found["most"] if "rises" in row["fault"] or "gate on" in row["fault"] else found["on"]
            self.right(row, "current", current)
            self.right(row, "gate", found["gate"])
            self.right(row, "heat in M1", found["switch_heat"])
            if abs(current) > 15:
                self.right(row, "fuse opens in", FUSE_A2S / current**2)
            else:
                self.assertEqual("never", row["fuse opens in"])

    def test_a_shorted_switch_is_told_by_its_current(self):
        """5 % of the level after 2 ms is the rule; a healthy branch is far below it in microseconds."""
        self.assertGreater(BRANCH_FAULTS["load switch shorted"]()["off"], 0.05 * load_bank.branch_case("p12")["on"])
        self.assertLess(load_bank.branch_case("p12")["off"], 0.05 * load_bank.branch_case("p12")["on"])

    def test_gate_supply(self):
        table = rows(TEXT, "Gate supply: the interlock")
        self.assertEqual(set(GATE_SUPPLY), {row["what happens"] for row in table})
        for row in table:
            found = GATE_SUPPLY[row["what happens"]]()
            self.right(row, "vg before", found["least"])
            if row["vg below 1 V after"] == "at once":
                self.assertLess(found["least"], 1.0)
            else:
                self.right(row, "vg below 1 V after", found["gone_ms"] * 1e-3)
                self.assertLess(found["gone_ms"], 10.0, "the notes promise 10 ms")
        once = load_bank.gate_supply_case("PULSE(0 3.3 5m 1u 1u 1 2)", stop_ms=5)
        self.assertIn(f"A single pulse of the line gives vg for {once['gone_ms']:.1f} ms", TEXT)
        late = GATE_SUPPLY["line stops low"]()["gone_ms"] - 1
        self.assertIn(f"The line may come {late:.1f} ms late", TEXT)


class IsolatedSupplyTest(unittest.TestCase):
    def test_table(self):
        cases = {"least input, full load": (4.75, 0.06, 0.003, 300), "most input, full load": (5.25, 0.06, 0.003, 300),
                 "least input, 150 mA": (4.75, 0.15, 0.003, 300), "most input, no load": (5.25, 0.0, 0.0, 1500)}
        table = rows(ARCHITECTURE, "The isolated supply")
        self.assertEqual(set(cases), {row["case"] for row in table})
        for row in table:
            volts, load, negative, end = cases[row["case"]]
            found = load_bank.isolation_case(volts, load, negative, end)
            for column, value in {"raw": found["raw_least"], "v5a": found["out"], "negative": found["negative"],
                                  "drawn": -found["drawn"], "heat in the regulator": found["regulator_heat"]}.items():
                self.assertIsNone(complaint(row[column], value), f"{row['case']}, {column}: {complaint(row[column], value)}")
            self.assertGreater(found["raw_least"] - found["out"], 0.25, "the regulator drops out")
            self.assertLess(figures(row["raw"])[0][0], 10.0, "the regulator stands 10 V")

    def test_shipped_netlist(self):
        found = spice.shipped("isolation-supply")
        table = {row["case"]: row for row in rows(ARCHITECTURE, "The isolated supply")}
        self.assertIsNone(complaint(table["least input, full load"]["raw"], found["raw_least"]))
        self.assertIn(f"{found['ripple_mv']:.0f} mV of ripple", ARCHITECTURE)
        self.assertIn(f"Three groups draw {3 * found['drawn_ma'] / 1e3:.1f} A", " ".join(ARCHITECTURE.split()))

    def test_the_sides_share_no_net(self):
        sides = load_bank.isolation_supply()
        through = {net for part in sides.parts.values() if part.kind != "transformer"
                   for net in {sides.net_of(part.name, pin) for pin in part.pins}}
        primary = {"jig5v", "jig-common", "drive1", "drive2"}
        for part in sides.parts.values():
            nets = {sides.net_of(part.name, pin) for pin in part.pins}
            if part.kind != "transformer":
                self.assertTrue(nets <= primary or not nets & primary, part.name)
        self.assertTrue(primary & through)


if __name__ == "__main__":
    sys.exit(unittest.main())
