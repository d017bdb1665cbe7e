# SPDX-License-Identifier: Apache-2.0
"""Faults of the front end as ngspice sees them. Every function returns a dict of figures in SI units."""
import functools

from spice import load, netlist, run_for_file, solve

SUPPLIES = ["V5 v5a 0 5", "Vn vneg 0 -2.5", "Vr vref 0 4.096"]
FULL_SCALE_V = 4.096
SAMPLE_S = 1 / 32000
NOMINAL_V = {"p12": 12.0, "p5": 5.0, "p3v3": 3.3, "m12": -12.0, "logic": 5.0}


@functools.cache
def chain():
    return load("front-end")


@functools.cache
def group():
    return load("group")


def number(value):
    """10.7k -> 10700."""
    scale = {"k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}
    return float(value[:-1]) * scale[value[-1]] if value[-1] in scale else float(value)


def parts_of(variant):
    """{name: value in SI units} of the upper leg."""
    return {name: number(chain().value_of(name, variant)) for name in ("Rp1", "Rt1", "Rb1", "C1", "R21", "C21")}


def ratio(variant):
    parts = parts_of(variant)
    return parts["Rb1"] / (parts["Rp1"] + parts["Rt1"] + parts["Rb1"])


def reading(variant, at_converter):
    """What the jig would call the input, V; a code at either end of the converter's range is that end."""
    held = min(max(at_converter, 0.0), FULL_SCALE_V)
    return (held - (FULL_SCALE_V * (1 - ratio(variant)) if variant == "m12" else 0.0)) / ratio(variant)


def leg_case(variant, plus, back=0.0, changes=None, extra=()):
    """One channel, its plug's + at `plus` and its return at `back` volts against the group's ground."""
    changed = dict(changes or {})
    lines = netlist.elements(chain(), variant, changed) + chain().spice + SUPPLIES
    lines += [f"Vplus plus 0 {plus}", f"Vback return 0 {back}", *extra]
    names = ["v(mid1)", "v(in1)", "v(buffer1)", "v(adc1)-v(adc2)", "i(V5)", "-i(Vplus)", "-i(Vback)"]
    values = solve(lines, *names)
    found = dict(zip(["mid", "clamped", "buffer", "converter", "into_v5a", "plus_a", "return_a"], values))
    found["reads"] = reading(variant, found["converter"])
    return found


def group_case(channels, tie_at=0.0, changes=None, channel_changes=None, powered=True, extra=()):
    """Channels (variant, volts at the plug's +, volts at its return) on one group whose tie goes to `tie_at`; every
    potential against the first plug's return. The figures are those of the first channel."""
    lines = [".model DONE D(Is=1e-9 N=0.01)"] + chain().spice + group().spice
    lines += netlist.elements(group(), changes=changes)
    for i, (variant, plus, back) in enumerate(channels):
        lines += netlist.elements(chain(), variant, channel_changes, f"c{i}_")
        lines += [f"Vplus{i} c{i}_plus main {plus}", f"Vback{i} c{i}_return main {back}"]
    lines += [f"Vtie tie main {tie_at}", "Rmain main 0 1g", *extra]
    if powered:  # a regulator gives, and cannot take
        lines += ["Vreg r5 0 5", "Dreg r5 v5a DONE", "Vref vref 0 4.096", "Vn vneg 0 -2.5"]
    else:
        lines += ["Rref vref 0 10k", "Rneg vneg 0 10k"]
    names = ["v(v5a)", "v(c0_adc1)-v(c0_adc2)", "i(Vtie)", "-i(Vplus0)", "-v(main)", "v(c0_in1)", "v(c0_adc2)", "i(Vback0)"]
    values = solve(lines, *names)
    found = dict(zip(["v5a", "converter", "tie_a", "plus_a", "ground", "clamped", "lower", "return_a"], values))
    found["reads"] = reading(channels[0][0], found["converter"])
    return found


def dip(variant, width_s, depth_v):
    """A rectangular dip through the chain: (best, worst) share of its depth that samples at 32 kS/s can show, the samples
    placed as well or as badly as they can be."""
    parts = chain()
    rise = 1e-9
    lines = ["* dip"] + netlist.elements(parts, variant) + parts.spice + SUPPLIES
    lines += [f"Vplus plus 0 PULSE({NOMINAL_V[variant]} {NOMINAL_V[variant] - depth_v} 100u {rise} {rise} {width_s} 1)",
              "Vback return 0 0", ".options reltol=1e-6 method=gear", ".tran 0.25u 900u 0 0.25u", ".control", "run",
              "linearize v(adc1) v(adc2)", "let out=v(adc1)-v(adc2)", "set wr_singlescale", "wrdata trace.data out", ".endc",
              ".end"]
    rows = [[float(cell) for cell in line.split()] for line in run_for_file("\n".join(lines), "trace.data").splitlines()]
    level = [row[1] for row in rows]
    lost = [(level[0] - value) / (depth_v * ratio(variant)) for value in level]
    period = round(SAMPLE_S / (rows[1][0] - rows[0][0]))
    seen = [max(lost[phase::period]) for phase in range(period)]
    return max(seen), min(seen)
