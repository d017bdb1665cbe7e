# SPDX-License-Identifier: Apache-2.0
"""Load branch, gate supply and isolated supply in ngspice: the netlists of hardware-notes, and the same with faults."""
import functools

from spice import load, netlist, run

RAIL_V = {"p12": 12.0, "p12-half": 12.0, "p5": 5.0, "p3v3": 3.3}


@functools.cache
def branch():
    return load("load-branch")


def branch_case(variant, changes=None, extra=(), vg="5", command="PULSE(0 3.3 50u 100n 100n 300u 1)", supply=None):
    """A branch on a supply of 15 mohm behind 0.6 uH, gate on from 50 to 350 us. Currents in A, heat in W, energy in J."""
    lines = ["* branch"] + netlist.elements(branch(), variant, changes) + branch().spice
    lines += [f"Vs s 0 {supply or RAIL_V[variant]}", "Ri s s2 15m", "Lc s2 plus 0.6u", f"Vg vg 0 {vg}", f"Vc command 0 {command}",
              *extra, ".options method=gear reltol=1e-4", ".tran 50n 600u", ".control", "run",
              "let level=(v(shunt1)-v(shunt2))/0.01", "let heat_m=v(drain)*level", "let heat_r=(v(shunt2)-v(drain))*level",
              "meas tran on FIND level AT=300u", "meas tran off FIND level AT=590u", "meas tran most MAX level",
              "meas tran peak MAX v(drain)", "meas tran gate MAX v(gate)", "meas tran switch_heat FIND heat_m AT=300u",
              "meas tran load_heat FIND heat_r AT=300u", "meas tran on_energy INTEG heat_m FROM=50u TO=80u",
              "meas tran off_energy INTEG heat_m FROM=350u TO=380u", ".endc", ".end"]
    return run("\n".join(lines))


@functools.cache
def gate_supply():
    return load("gate-supply")


TOGGLING = "PULSE(3.3 0 1m 1u 1u 0.999m 2m)"  # once a millisecond


def gate_supply_case(toggle, changes=None, extra=(), stop_ms=30, command=5.0):
    """vg while `toggle` drives the pump: least between 20 and 30 ms, level at 49 ms, and milliseconds from `stop_ms` until it
    last fell below 1 V (nan: it never did)."""
    lines = ["* gate supply"] + netlist.elements(gate_supply(), changes=changes) + gate_supply().spice
    lines += [f"V5 jig5v 0 {command}", f"Vt toggle 0 {toggle}", *extra, ".tran 20u 50m", ".control", "run",
              "meas tran least MIN v(vg) FROM=20m TO=30m", "meas tran most MAX v(vg)", "meas tran last FIND v(vg) AT=49m"]
    found = run("\n".join(lines + [".endc", ".end"]))
    if found["most"] > 1 and found["last"] < 1:
        gone = run("\n".join(lines + ["meas tran gone WHEN v(vg)=1 FALL=LAST", ".endc", ".end"]))["gone"]
        found["gone_ms"] = gone * 1e3 - stop_ms
    return found


@functools.cache
def isolation_supply():
    return load("isolation-supply")


def isolation_case(volts, load_a, negative_a, end_us=300, changes=None):
    """The isolated supply at an input voltage and loads: raw voltages, output, negative rail, input current."""
    lines = ["* isolated supply"] + netlist.elements(isolation_supply(), changes=changes) + isolation_supply().spice
    lines += ["Vcommon jig-common 0 0", f"Vin jig5v jig-common {volts}", f"Iload v5a 0 {load_a}", f"Ineg 0 vneg {negative_a}",
              ".options method=gear reltol=1e-3", ".ic v(raw)=6 v(nraw)=-6 v(v5a)=5", f".tran 50n {end_us}u 0 50n uic",
              ".control", "run"]
    lines += [f"meas tran {name} {what} FROM={end_us - 50}u TO={end_us}u" for name, what in [
        ("raw_least", "MIN v(raw)"), ("raw_most", "MAX v(raw)"), ("out", "AVG v(v5a)"), ("negative", "AVG v(vneg)"),
        ("drawn", "AVG i(vin)")]]
    found = run("\n".join(lines + [".endc", ".end"]))
    found["regulator_heat"] = (found["raw_least"] - found["out"]) * load_a + found["raw_least"] * 1e-3
    return found
