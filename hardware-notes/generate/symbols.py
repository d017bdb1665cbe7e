# SPDX-License-Identifier: Apache-2.0
"""What a part looks like and where its pins are. Two-pin parts lie 4 grid units long; lines are in grid units, drawn for
direction "right" and turned. Symbols follow the plain shapes of IEC 60617 (from memory)."""

# kind -> {pin: (x, y)} for direction "right"
_TWO = {"1": (0, 0), "2": (4, 0)}
_DIODE = {"a": (0, 0), "k": (4, 0)}
PINS = {
    "resistor": _TWO, "capacitor": _TWO, "inductor": _TWO, "fuse": _TWO, "contact": _TWO, "link": _TWO, "clamp": _TWO,
    "diode": _DIODE, "zener": _DIODE,
    "buffer": {"in": (0, 0), "out": (5, 0)},
    "nmos": {"g": (0, 0), "d": (3, -2), "s": (3, 2)},
    "pmos": {"g": (0, 0), "s": (3, -2), "d": (3, 2)},
    "npn": {"b": (0, 0), "c": (3, -2), "e": (3, 2)},
    "transformer": {"p1": (0, 0), "pc": (0, 4), "p2": (0, 8), "s1": (4, 0), "sc": (4, 4), "s2": (4, 8)},
}
UNITS = {"resistor": "\u03a9", "capacitor": "F", "inductor": "H"}
PREFIXES = {"m": " m", "u": " \u00b5", "n": " n", "p": " p", "k": " k"}


def _leads(start, end):
    return [("line", 0, 0, start, 0), ("line", end, 0, 4, 0)]


_DIODE_BODY = [("line", 0, 0, 4, 0), ("filled", 1.4, -0.7, 1.4, 0.7, 2.6, 0), ("line", 2.6, -0.7, 2.6, 0.7)]

# "dot": a filled circle x, y, r; "poly": closed outline; "filled": closed and filled; "arc": x y r, half circle upwards
SHAPES = {
    "resistor": _leads(0.8, 3.2) + [("poly", 0.8, -0.5, 3.2, -0.5, 3.2, 0.5, 0.8, 0.5)],
    "capacitor": _leads(1.75, 2.25) + [("line", 1.75, -0.9, 1.75, 0.9), ("line", 2.25, -0.9, 2.25, 0.9)],
    "inductor": _leads(0.8, 3.2) + [("arc", 0.8 + 0.8 * i + 0.4, 0, 0.4) for i in range(3)],
    "fuse": [("poly", 0.8, -0.4, 3.2, -0.4, 3.2, 0.4, 0.8, 0.4), ("line", 0, 0, 4, 0)],
    "link": [("line", 0, 0, 4, 0), ("dot", 1.2, 0, 0.3), ("dot", 2.8, 0, 0.3)],
    "contact": _leads(1.0, 3.0) + [("line", 1.0, 0, 3.1, -0.25), ("line", 3.0, -0.5, 3.0, 0)],
    "clamp": [("line", 0, 0, 4, 0), ("filled", 0.9, -0.6, 0.9, 0.6, 2.0, 0), ("filled", 3.1, -0.6, 3.1, 0.6, 2.0, 0),
              ("line", 1.7, -0.8, 2.0, -0.6), ("line", 2.0, -0.6, 2.0, 0.6), ("line", 2.0, 0.6, 2.3, 0.8)],
    "diode": _DIODE_BODY,
    "zener": _DIODE_BODY + [("line", 2.6, -0.7, 2.9, -0.9), ("line", 2.6, 0.7, 2.3, 0.9)],
    "buffer": [("line", 0, 0, 1, 0), ("poly", 1, -1.6, 1, 1.6, 4, 0), ("line", 4, 0, 5, 0)],
    "nmos": [("line", 0, 0, 1.2, 0), ("line", 1.2, -1.1, 1.2, 1.1), ("line", 1.6, -1.3, 1.6, -0.5),
             ("line", 1.6, -0.3, 1.6, 0.3), ("line", 1.6, 0.5, 1.6, 1.3), ("line", 1.6, -0.9, 3, -0.9),
             ("line", 3, -0.9, 3, -2), ("line", 1.6, 0.9, 3, 0.9), ("line", 3, 0, 3, 2), ("line", 1.6, 0, 3, 0),
             ("filled", 1.7, 0, 2.3, -0.3, 2.3, 0.3)],
    "pmos": [("line", 0, 0, 1.2, 0), ("line", 1.2, -1.1, 1.2, 1.1), ("line", 1.6, -1.3, 1.6, -0.5),
             ("line", 1.6, -0.3, 1.6, 0.3), ("line", 1.6, 0.5, 1.6, 1.3), ("line", 1.6, -0.9, 3, -0.9),
             ("line", 3, 0, 3, -2), ("line", 1.6, 0.9, 3, 0.9), ("line", 3, 0.9, 3, 2), ("line", 1.6, 0, 3, 0),
             ("filled", 2.4, 0, 1.8, -0.3, 1.8, 0.3)],
    "npn": [("line", 0, 0, 1.5, 0), ("line", 1.5, -1.2, 1.5, 1.2), ("line", 1.5, -0.5, 3, -1.5), ("line", 3, -1.5, 3, -2),
            ("line", 1.5, 0.5, 3, 1.5), ("line", 3, 1.5, 3, 2), ("filled", 2.8, 1.4, 2.0, 1.2, 2.35, 0.7)],
    "transformer": [("line", 1.7, 0, 1.7, 8), ("line", 2.3, 0, 2.3, 8)] +
                   [("line", 0, y, 1, y) for y in (0, 4, 8)] + [("line", 3, y, 4, y) for y in (0, 4, 8)] +
                   [("bump", 1, 0.5 + i, 0.5, 1) for i in range(8)] + [("bump", 3, 0.5 + i, 0.5, -1) for i in range(8)] +
                   [("dot", 0.5, 0.5, 0.15), ("dot", 0.5, 4.5, 0.15), ("dot", 3.5, 0.5, 0.15), ("dot", 3.5, 4.5, 0.15)],
}

_TURNS = {"right": (1, 0, 0, 1), "down": (0, -1, 1, 0), "left": (-1, 0, 0, -1), "up": (0, 1, -1, 0)}


def turn(x, y, direction):
    """A point of the symbol in the direction it is drawn."""
    a, b, c, d = _TURNS[direction]
    return a * x + b * y, c * x + d * y


def pins(kind, at, direction):
    """{pin: point on the grid} of a part at `at`."""
    found = {}
    for pin, place in PINS[kind].items():
        x, y = turn(*place, direction)
        found[pin] = (at[0] + x, at[1] + y)
    return found


def readable(kind, value):
    """10.7k of a resistor -> 10.7 kohm with the unit's sign; words stay."""
    if kind == "link":
        return "fitted" if value else "left out"
    if kind not in UNITS or not value[:1].isdigit():
        return value
    if value.endswith("meg"):
        return value[:-3] + " M" + UNITS[kind]
    digits = value.rstrip("".join(PREFIXES))
    return digits + PREFIXES.get(value[len(digits):], " ") + UNITS[kind]
