# SPDX-License-Identifier: Apache-2.0
"""Tables of the notes, and their figures with the accuracy they are printed to."""
import re

SCALE = {"": 1.0, "V": 1.0, "mV": 1e-3, "A": 1.0, "mA": 1e-3, "uA": 1e-6, "W": 1.0, "mW": 1e-3, "Hz": 1.0, "kHz": 1e3,
         "ohm": 1.0, "mohm": 1e-3, "kohm": 1e3, "nF": 1e-9, "uF": 1e-6, "uH": 1e-6, "us": 1e-6, "ms": 1e-3, "s": 1.0,
         "min": 60.0, "mJ": 1e-3, "uJ": 1e-6, "J": 1.0, "%": 1e-2, "dB": 1.0, "K": 1.0, "C": 1.0, "A/us": 1e6,
         "mohm/m": 1e-3, "m": 1.0, "A2s": 1.0, "deg": 1.0}
_FIGURE = re.compile(r"(?<![\w.])(-?\d+(?:\.\d+)?)(?: (%|[A-Za-z][A-Za-z0-9]*(?:/[a-z]+)?))?(?![\w.]*\d)")


class TableError(Exception):
    pass


def rows(text, heading, nth=0):
    """The nth table below a heading: a list of {column: cell}."""
    start = re.search(rf"^#+ {re.escape(heading)}$", text, re.MULTILINE)
    if not start:
        raise TableError(f"no heading {heading}")
    section = re.split(r"^#+ ", text[start.end():], maxsplit=1, flags=re.MULTILINE)[0]
    tables = re.findall(r"(?:^\|.*\n)+", section + "\n", re.MULTILINE)
    if nth >= len(tables):
        raise TableError(f"{heading} has {len(tables)} tables")
    lines = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in tables[nth].splitlines()]
    header, body = lines[0], lines[2:]
    for line in body:
        if len(line) != len(header):
            raise TableError(f"{heading}: {line} does not fit {header}")
    return [dict(zip(header, line)) for line in body]


def figures(cell):
    """[(value in SI units, half a unit of its last digit)] of a cell; "0 to 8.22 V" and "1, 2 Hz" give two, the unit holding
    for those before it."""
    found = [(number, unit if unit in SCALE else "") for number, unit in _FIGURE.findall(cell)]
    values = []
    unit = ""
    for number, own in reversed(found):
        unit = own or unit
        digits = len(number.split(".")[1]) if "." in number else 0
        values.append((float(number) * SCALE[unit], 0.5 * 10 ** -digits * SCALE[unit]))
    return values[::-1]


def complaint(cell, *expected):
    """None when the cell prints these values to its last digit, else what is wrong."""
    printed = figures(cell)
    if len(printed) != len(expected):
        return f"'{cell}' holds {len(printed)} figures, not {len(expected)}"
    for (value, half), true in zip(printed, expected):
        if not abs(value - true) <= half * (1 + 1e-6) + 1e-15:
            return f"'{cell}' prints {value:g}, found {true:g}"
    return None
