# SPDX-License-Identifier: Apache-2.0
"""Ground offset, comparators and shunt chain in ngspice: the circuits of hardware-notes with other sources and faults."""
import functools

from spice import load, netlist, run, solve

SUPPLIES = ["V5 v5a 0 5", "Vn vneg 0 -2.5", "Vr vref 0 4.096"]
MIDDLE_V = 2.048


@functools.cache
def part(name):
    return load(name)


def ground_offset(apart_v, changes=None):
    """(V at the converter, V the jig reads by its description's 4.096) for a return `apart_v` above the main connector's."""
    one = part("ground-offset")
    lines = netlist.elements(one, changes=changes) + one.spice + SUPPLIES
    level, = solve([*lines, "Va return 0 -0.235", f"Vb main-return 0 {-0.235 - apart_v}"], "v(adc)")
    held = min(max(level, 0.0), 4.096)
    return level, (held - MIDDLE_V) / 4.096


def pulse(width_s, models=None):
    """Seconds that the two captures see of a pulse of the line from 5 V to 0.2 V behind 1 kohm: below the upper level, below
    the lower one (0: not at all). models: {text: text} exchanged in the models."""
    one = part("signals")
    models_of = "\n".join(one.spice)
    for old, new in (models or {}).items():
        assert old in models_of, old
        models_of = models_of.replace(old, new)
    lines = ["* pulse", *netlist.elements(one), models_of]
    lines += ["V5 v5a 0 5", "Vr vref 0 4.096", "Vret back 0 -0.178", f"Vl source back PULSE(5 0.2 2u 10n 10n {width_s} 1)",
              "Rl1 source line 1k", ".tran 5n 10u", ".control", "run"]
    seen = []
    for name in ("high", "low"):
        least = run("\n".join(lines + [f"meas tran least MIN v(capture-{name})", ".endc", ".end"]))["least"]
        if least >= 2.5:
            seen.append(0.0)
            continue
        found = run("\n".join(lines + [f"meas tran gone WHEN v(capture-{name})=2.5 FALL=1",
                                       f"meas tran back WHEN v(capture-{name})=2.5 RISE=1", ".endc", ".end"]))
        seen.append(found["back"] - found["gone"])
    return tuple(seen)


def delays():
    """Seconds from the line's own crossing of either level, both ways, to capture, for edges behind 1 ohm and 1 kohm."""
    one = part("signals")
    found = []
    for source in ("1", "1k"):
        lines = ["* delays", *netlist.elements(one), *one.spice, "V5 v5a 0 5", "Vr vref 0 4.096", "Vret back 0 -0.178",
                 "Vl source back PULSE(5 0.2 2u 10n 10n 5u 1)", f"Rl1 source line {source}", ".tran 5n 12u", ".control", "run"]
        for name, level in zip(("high", "low"), levels()):
            for edge in ("FALL", "RISE"):
                lines.append(f"meas tran {name}_{edge} TRIG v(line) VAL={level - 0.178} {edge}=1 "
                             f"TARG v(capture-{name}) VAL=2.5 {edge}=1")
        found += list(run("\n".join(lines + [".endc", ".end"])).values())
    return found


def levels():
    """Upper and lower level of the comparators against the main return, V, with the group 0.178 V above it."""
    one = part("signals")
    lines = netlist.elements(one) + one.spice
    return [level + 0.178 for level in solve([*lines, *SUPPLIES, "Vl line 0 5"], "v(high)", "v(low)")]


def shunt(variant, amperes, changes=None):
    """(V at the converter, V dropped) at a current."""
    one = part("current-shunt")
    lines = netlist.elements(one, variant, changes) + one.spice + SUPPLIES
    return solve([*lines, "Vs supply 0 12", f"Iload load 0 {amperes}"], "v(adc)", "v(supply)-v(load)")


def ac_present(volts):
    """(V at the converter, V the jig reads by its description's 0.1024) for a voltage of the adapter."""
    one = part("ac-present")
    level, = solve([*netlist.elements(one), *one.spice, *SUPPLIES, f"Va ac 0 {volts}"], "v(adc)")
    return level, (min(max(level, 0.0), 4.096) - MIDDLE_V) / 0.1024


def ps_on(pin_v, changes=None, pull_up="3.03k", standby_v=5.25):
    """(V of PS_ON# over the main return, A through the LED) with PB9 at `pin_v`; the supply pulls up to its standby rail."""
    one = part("ps-on")
    lines = netlist.elements(one, changes=changes) + one.spice
    lines += ["Vc jig-common 0 0", "V5 jig5v jig-common 5", "V3 3V3 jig-common 3.3", f"Vpb PB9 jig-common {pin_v}",
              f"Vsb sb main_return {standby_v}", f"Rsb sb ps_on {pull_up}", "Vm main_return 0 0"]
    return solve(lines, "v(ps_on)-v(main_return)", "-i(V5)")
