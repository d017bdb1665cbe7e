# SPDX-License-Identifier: Apache-2.0
"""The netlist of a circuit for ngspice, with parts changed where a fault or a tolerance is to be tried."""

SHARED = {"0", "v5a", "vneg", "vref"}  # of a group: ground and supplies


def _two(letter):
    return lambda name, nets, value, model: [f"{letter}{name} {nets['1']} {nets['2']} {value}"]


def _tiny(name, nets, value, model):
    """A fuse, a closed contact or a link: its resistance."""
    return [f"R{name} {nets['1']} {nets['2']} {value}"]


def _diode(name, nets, value, model):
    return [f"D{name} {nets['a']} {nets['k']} {model}"]


def _clamp(name, nets, value, model):
    """Two junctions back to back; the middle is held by a leak."""
    return [f"D{name}a {name}_m {nets['1']} {model}", f"D{name}b {name}_m {nets['2']} {model}", f"R{name}m {name}_m 0 1g"]


def _transistor(name, nets, value, model):
    return [f"M{name} {nets['d']} {nets['g']} {nets['s']} {model}"]


def _bipolar(name, nets, value, model):
    return [f"Q{name} {nets['c']} {nets['b']} {nets['e']} {model}"]


def _buffer(name, nets, value, model):
    return [f"X{name} {nets['in']} {nets['out']} {model}"]


def _transformer(name, nets, value, model):
    """Four windings of one core; `value` is primary inductance of a half, turns ratio and coupling: 200u,1.3,0.995."""
    half, ratio, coupling = value.split(",")
    second = f"{{{half}*{ratio}*{ratio}}}"
    windings = [f"{name}p1", f"{name}p2", f"{name}s1", f"{name}s2"]
    lines = [f"L{windings[0]} {nets['p1']} {nets['pc']} {half}", f"L{windings[1]} {nets['pc']} {nets['p2']} {half}",
             f"L{windings[2]} {nets['s1']} {nets['sc']} {second}", f"L{windings[3]} {nets['sc']} {nets['s2']} {second}"]
    pairs = [(a, b) for i, a in enumerate(windings) for b in windings[i + 1:]]
    return lines + [f"K{name}{i} L{a} L{b} {coupling}" for i, (a, b) in enumerate(pairs)]


_LINES = {"resistor": _two("R"), "capacitor": _two("C"), "inductor": _two("L"), "fuse": _tiny,
          "contact": _tiny, "link": _tiny, "diode": _diode, "zener": _diode, "clamp": _clamp, "nmos": _transistor, "pmos": _transistor, "npn": _bipolar,
          "buffer": _buffer, "transformer": _transformer}


def elements(circuit, variant="", changes=None, prefix=""):
    """Lines of every part and model. changes: {part: value}; an empty value leaves the part out (open).
    prefix stands before every name and net, so that a circuit can stand several times in one netlist; supplies stay."""
    changes = changes or {}
    unknown = set(changes) - set(circuit.parts)
    if unknown:
        raise KeyError(f"no such part: {sorted(unknown)}")
    lines = []
    for part in circuit.parts.values():
        value = changes.get(part.name, circuit.value_of(part.name, variant))
        if value == "":
            continue
        nets = {pin: _prefixed(circuit.net_of(part.name, pin), prefix) for pin in part.pins}
        lines += _LINES[part.kind](prefix + part.name, nets, value, part.options.get("model", ""))
    return lines


def _prefixed(net, prefix):
    return net if net in SHARED else prefix + net


def runnable(circuit, variant=""):
    """A netlist that `ngspice -b` runs as it stands."""
    label = f": {circuit.variants[variant][0]}" if variant else ""
    lines = [f"* {circuit.title}{label}", "* SPDX-License-Identifier: Apache-2.0",
             f"* made by hardware-notes/generate from {circuit.name}.circuit; change that, not this"]
    lines += elements(circuit, variant) + circuit.spice
    lines += [line for wanted, line in circuit.bench if wanted in ("", variant)]
    return "\n".join(lines + [".end", ""])
