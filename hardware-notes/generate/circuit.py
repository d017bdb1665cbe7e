# SPDX-License-Identifier: Apache-2.0
"""A circuit as it is drawn: parts on a grid, joined by wires. Which pins are one net follows from the drawing alone, so the
picture, the netlist and the parts list cannot disagree.

A .circuit file, one statement a line (quotes as in a shell, # begins a comment):
  title "..."                               size WIDTH HEIGHT           note "..."  (printed beneath the drawing)
  part NAME KIND VALUE X Y DIRECTION [family=...] [model=...] [shown="..."] [side=left|right|above|below]
  block NAME "text" X Y WIDTH HEIGHT PIN=X,Y,SIDE ... [family=...]    a box; its inside: spice lines
  wire X Y X Y [X Y ...]                    ends that touch are joined; wires that merely cross are not
  port NET X Y SIDE | ground NET X Y | supply NET X Y | net NET X Y SIDE    names; equal names are one net
  text X Y "..."                            frame X Y WIDTH HEIGHT "..."
  built N "what for"                        how often the circuit is built (without variants)
  variant NAME "rail" PART=VALUE ...        one netlist each
  channels VARIANT NAME ...                 the channels built so
  spice "..."                               goes into the netlist as it stands: models, the inside of blocks
  bench [VARIANT:] "..."                    only in the netlist that runs by itself: sources, analyses
"""
import dataclasses
import pathlib
import shlex

import symbols


@dataclasses.dataclass
class Part:
    name: str
    kind: str
    value: str
    x: int
    y: int
    direction: str
    options: dict
    pins: dict  # pin name -> (x, y)


@dataclasses.dataclass
class Circuit:
    name: str
    title: str = ""
    width: int = 0
    height: int = 0
    parts: dict = dataclasses.field(default_factory=dict)
    blocks: list = dataclasses.field(default_factory=list)
    block_families: dict = dataclasses.field(default_factory=dict)  # block -> (family, value in the parts list)
    wires: list = dataclasses.field(default_factory=list)  # lists of points
    marks: list = dataclasses.field(default_factory=list)  # (kind, net, x, y, side)
    texts: list = dataclasses.field(default_factory=list)
    frames: list = dataclasses.field(default_factory=list)
    notes: list = dataclasses.field(default_factory=list)
    built: tuple = (1, "one")
    variants: dict = dataclasses.field(default_factory=dict)  # name -> (label, {part: value})
    channels: dict = dataclasses.field(default_factory=dict)
    spice: list = dataclasses.field(default_factory=list)
    bench: list = dataclasses.field(default_factory=list)  # (variant or "", line)
    net_at: dict = dataclasses.field(default_factory=dict)  # point -> net name

    def net_of(self, part, pin):
        return self.net_at[self.parts[part].pins[pin]]

    def value_of(self, part, variant):
        values = self.variants[variant][1] if variant else {}
        return values.get(part, self.parts[part].value)


class CircuitError(Exception):
    pass


def _point(x, y):
    return int(x), int(y)


def _options(words):
    return dict(word.split("=", 1) for word in words)


def _statement(circuit, words):
    verb, *rest = words
    if verb == "title":
        circuit.title = rest[0]
    elif verb == "size":
        circuit.width, circuit.height = _point(*rest)
    elif verb == "note":
        circuit.notes.append(rest[0])
    elif verb == "part":
        name, kind, value, x, y, direction = rest[:6]
        if name in circuit.parts:
            raise CircuitError(f"{name} stands twice")
        if not value and kind != "link":
            raise CircuitError(f"{name} has no value")
        at = _point(x, y)
        circuit.parts[name] = Part(name, kind, value, *at, direction, _options(rest[6:]), symbols.pins(kind, at, direction))
    elif verb == "block":
        name, text, x, y, width, height = rest[:6]
        pins = {}
        options = _options(rest[6:])
        circuit.block_families[name] = options.pop("family", ""), options.pop("listed", "")
        for pin, place in options.items():
            pin_x, pin_y, side = place.split(",")
            pins[pin] = (*_point(pin_x, pin_y), side)
        circuit.blocks.append((name, text, *_point(x, y), *_point(width, height), pins))
    elif verb == "wire":
        circuit.wires.append([_point(*rest[i:i + 2]) for i in range(0, len(rest), 2)])
    elif verb in ("port", "net"):
        circuit.marks.append((verb, rest[0], *_point(*rest[1:3]), rest[3]))
    elif verb in ("ground", "supply"):
        circuit.marks.append((verb, rest[0], *_point(*rest[1:3]), ""))
    elif verb == "text":
        circuit.texts.append((float(rest[0]), float(rest[1]), rest[2]))
    elif verb == "frame":
        circuit.frames.append((*_point(*rest[:2]), *_point(*rest[2:4]), rest[4]))
    else:
        _statement_beside_the_drawing(circuit, verb, rest)


def _statement_beside_the_drawing(circuit, verb, rest):
    if verb == "built":
        circuit.built = (int(rest[0]), rest[1])
    elif verb == "variant":
        circuit.variants[rest[0]] = (rest[1], _options(rest[2:]))
    elif verb == "channels":
        circuit.channels[rest[0]] = rest[1:]
    elif verb == "spice":
        circuit.spice.append(rest[0])
    elif verb == "bench":
        circuit.bench.append((rest[0].rstrip(":") if len(rest) == 2 else "", rest[-1]))
    else:
        raise CircuitError(f"no statement is called {verb}")


def _on_segment(point, start, end):
    (x, y), (x0, y0), (x1, y1) = point, start, end
    return ((x1 - x0) * (y - y0) == (y1 - y0) * (x - x0) and
            min(x0, x1) <= x <= max(x0, x1) and min(y0, y1) <= y <= max(y0, y1))


class _Sets:
    """Union of points that are joined."""

    def __init__(self):
        self.parent = {}

    def root(self, key):
        self.parent.setdefault(key, key)
        while self.parent[key] != key:
            key = self.parent[key]
        return key

    def join(self, one, other):
        self.parent[self.root(one)] = self.root(other)


def pin_points(circuit):
    """[(what, point)] of every pin of the drawing."""
    found = [(f"{part.name}.{pin}", point) for part in circuit.parts.values() for pin, point in part.pins.items()]
    return found + [(f"{name}.{pin}", at[:2]) for name, *_, pins in circuit.blocks for pin, at in pins.items()]


def _check_wire_ends(circuit, held):
    """Every wire begins and ends at a pin, a name or another wire."""
    for wire in circuit.wires:
        others = [segment for other in circuit.wires if other is not wire for segment in zip(other, other[1:])]
        for end in (wire[0], wire[-1]):
            if end not in held and not any(_on_segment(end, *segment) for segment in others):
                raise CircuitError(f"a wire ends at {end} in the air")


def join_nets(circuit):
    """Fills net_at. A pin that nothing joins, a net with two names and a wire end in the air are errors."""
    pins = pin_points(circuit)
    marks = [(net, (x, y)) for _, net, x, y, _ in circuit.marks]
    ends = [point for wire in circuit.wires for point in wire]
    sets = _Sets()
    points = {point for _, point in pins + marks} | set(ends)
    for wire in circuit.wires:
        for start, end in zip(wire, wire[1:]):
            for point in points:
                if _on_segment(point, start, end):
                    sets.join(point, start)
            sets.join(start, end)
    for net, point in marks:
        sets.join(point, ("net", net))
    users = {}
    for what, point in pins + [(f"net {net}", point) for net, point in marks]:
        users.setdefault(sets.root(point), []).append(what)
    names = {}
    for net in dict.fromkeys(net for net, _ in marks):
        root = sets.root(("net", net))
        if root in names:
            raise CircuitError(f"nets {names[root]} and {net} are joined")
        names[root] = net
    for root, found in users.items():
        if len(found) < 2:
            raise CircuitError(f"{found[0]} is joined to nothing")
        names.setdefault(root, found[0].replace(".", "_").lower())
    _check_wire_ends(circuit, {point for _, point in pins + marks})
    circuit.net_at = {point: names[sets.root(point)] for point in points}


def read(path):
    """The circuit of a .circuit file; CircuitError names the line."""
    path = pathlib.Path(path)
    circuit = Circuit(path.stem)
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        try:
            words = shlex.split(line, comments=True)
            if words:
                _statement(circuit, words)
        except (CircuitError, ValueError, IndexError, KeyError, TypeError) as error:
            raise CircuitError(f"{path.name}:{number}: {error}") from error
    for name, (_, values) in circuit.variants.items():
        for part in values:
            if part not in circuit.parts:
                raise CircuitError(f"{path.name}: variant {name} names {part}, which is not drawn")
    try:
        join_nets(circuit)
    except CircuitError as error:
        raise CircuitError(f"{path.name}: {error}") from error
    return circuit
