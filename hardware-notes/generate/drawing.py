# SPDX-License-Identifier: Apache-2.0
"""The picture of a circuit as SVG, black on white, a page of its own."""
import symbols

GRID = 12  # pixels a unit
_FONT = 'font-family="sans-serif" font-size="{size}"'


def _escape(text):
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _text(x, y, text, anchor="start", size=11, weight="normal"):
    return (f'<text x="{x * GRID:.1f}" y="{y * GRID:.1f}" text-anchor="{anchor}" font-weight="{weight}" '
            f'{_FONT.format(size=size)} stroke="none" fill="#000">{_escape(text)}</text>')


def _path(points, closed=False, filled=False):
    steps = " ".join(f"{x * GRID:.1f},{y * GRID:.1f}" for x, y in points)
    return f'<{"polygon" if closed else "polyline"} points="{steps}" fill="{"#000" if filled else "#fff" if closed else "none"}"/>'


def _dot(x, y, radius):
    return f'<circle cx="{x * GRID:.1f}" cy="{y * GRID:.1f}" r="{radius * GRID:.1f}" fill="#000"/>'


def _shape(shape, at, direction):
    kind, *numbers = shape
    if kind == "dot":
        x, y = symbols.turn(*numbers[:2], direction)
        return _dot(at[0] + x, at[1] + y, numbers[2])
    if kind in ("arc", "bump"):  # a coil's turn: over the line, or beside it towards the core
        x, y, radius = numbers[:3]
        ends = [(x - radius, y), (x + radius, y)] if kind == "arc" else [(x, y - radius), (x, y + radius)]
        sweep = 1 if kind == "arc" or numbers[3] > 0 else 0
        (x0, y0), (x1, y1) = [symbols.turn(*end, direction) for end in ends]
        return (f'<path d="M {(at[0] + x0) * GRID:.1f} {(at[1] + y0) * GRID:.1f} A {radius * GRID:.1f} {radius * GRID:.1f} '
                f'0 0 {sweep} {(at[0] + x1) * GRID:.1f} {(at[1] + y1) * GRID:.1f}" fill="none"/>')
    points = []
    for i in range(0, len(numbers), 2):
        x, y = symbols.turn(numbers[i], numbers[i + 1], direction)
        points.append((at[0] + x, at[1] + y))
    return _path(points, kind in ("poly", "filled"), kind == "filled")


def _label_place(part):
    """(x, y, anchor) of the first line of a part's label."""
    xs = [point[0] for point in part.pins.values()]
    ys = [point[1] for point in part.pins.values()]
    middle = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    upright = max(ys) - min(ys) > max(xs) - min(xs)
    side = part.options.get("side", "right" if upright else "above")
    if side == "right":
        return max(xs) + 1.2 if upright else max(xs) + 0.4, middle[1] - 0.1, "start"
    if side == "left":
        return min(xs) - 1.2, middle[1] - 0.1, "end"
    if side == "below":
        return middle[0], max(ys) + 2.2, "middle"
    return middle[0], min(ys) - (2.9 if part.kind == "buffer" else 1.95), "middle"


def _part(circuit, part):
    drawn = [_shape(shape, (part.x, part.y), part.direction) for shape in symbols.SHAPES[part.kind]]
    varied = [name for name, (_, values) in circuit.variants.items() if part.name in values]
    value = part.options.get("shown", "table" if varied else symbols.readable(part.kind, part.value))
    x, y, anchor = _label_place(part)
    drawn.append(_text(x, y, part.name, anchor, 12, "bold"))
    for row, line in enumerate(value.split("|")):
        drawn.append(_text(x, y + 1.1 + row, line, anchor))
    return drawn


def _block(block):
    _, text, x, y, width, height, pins = block
    drawn = [_path([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], closed=True)]
    lines = text.split("|")
    for row, line in enumerate(lines):
        drawn.append(_text(x + width / 2, y + height / 2 + 0.35 + row - (len(lines) - 1) / 2, line, "middle"))
    for pin, (pin_x, pin_y, side) in pins.items():
        dx, dy, anchor = {"left": (0.3, 0.35, "start"), "right": (-0.3, 0.35, "end"), "above": (0, 1, "middle"),
                          "below": (0, -0.4, "middle")}[side]
        drawn.append(_text(pin_x + dx, pin_y + dy, pin, anchor, 10))
    return drawn


def _mark(mark):
    kind, net, x, y, side = mark
    if kind == "ground":
        return [_path([(x, y), (x, y + 0.6)])] + [
            _path([(x - w, y + 0.6 + d), (x + w, y + 0.6 + d)]) for w, d in ((0.9, 0), (0.55, 0.3), (0.2, 0.6))
        ] + ([_text(x + 1.1, y + 1.1, net, size=10)] if net != "0" else [])
    if kind == "supply":
        return [_path([(x, y), (x, y - 0.6)]), _path([(x - 0.8, y - 0.6), (x + 0.8, y - 0.6)]),
                _text(x, y - 1, net, "middle")]
    dx, dy, anchor = {"left": (-0.5, 0.35, "end"), "right": (0.5, 0.35, "start"), "above": (0, -0.6, "middle"),
                      "below": (0, 1.3, "middle")}[side]
    drawn = [_text(x + dx, y + dy, net, anchor, 11, "bold" if kind == "port" else "normal")]
    if kind == "port":
        drawn.append(f'<circle cx="{x * GRID:.1f}" cy="{y * GRID:.1f}" r="3.5" fill="#fff"/>')
    return drawn


def _joints(circuit):
    """A dot where three or more ends meet."""
    count = {}
    for wire in circuit.wires:
        for start, end in zip(wire, wire[1:]):
            for point in (start, end):
                count[point] = count.get(point, 0) + 1
    every = set(count) | {point for part in circuit.parts.values() for point in part.pins.values()}
    for part in circuit.parts.values():
        for point in part.pins.values():
            count[point] = count.get(point, 0) + 1
    for *_, pins in circuit.blocks:
        for x, y, _ in pins.values():
            count[x, y] = count.get((x, y), 0) + 1
    for kind, _, x, y, _ in circuit.marks:
        if kind in ("ground", "supply"):
            count[x, y] = count.get((x, y), 0) + 1
    for point in every:
        for wire in circuit.wires:
            for (x0, y0), (x1, y1) in zip(wire, wire[1:]):
                inside = (x0 == x1 == point[0] and min(y0, y1) < point[1] < max(y0, y1)) or (
                    y0 == y1 == point[1] and min(x0, x1) < point[0] < max(x0, x1))
                if inside:
                    count[point] = count.get(point, 0) + 2
    return sorted(point for point, ends in count.items() if ends >= 3)


def _table(circuit, y):
    """The values of the variants, one row each; returns drawn and the next free line."""
    columns = list(dict.fromkeys(part for _, values in circuit.variants.values() for part in values))
    drawn = [_text(2, y, "built for", weight="bold")]
    drawn += [_text(12 + 7 * i, y, part, weight="bold") for i, part in enumerate(columns)]
    for label, values in circuit.variants.values():
        y += 1.4
        drawn.append(_text(2, y, label))
        drawn += [_text(12 + 7 * i, y, symbols.readable(circuit.parts[part].kind, values[part]))
                  for i, part in enumerate(columns) if part in values]
    return drawn, y + 2


def svg(circuit):
    """The whole drawing."""
    drawn = [_text(1, 2, circuit.title, size=15, weight="bold")]
    for x, y, width, height, text in circuit.frames:
        drawn.append(f'<rect x="{x * GRID}" y="{y * GRID}" width="{width * GRID}" height="{height * GRID}" fill="none" '
                     'stroke-dasharray="6 4" stroke-width="1"/>')
        drawn.append(_text(x + 0.4, y + 1.2, text, size=10))
    drawn += [_path(wire) for wire in circuit.wires]
    for part in circuit.parts.values():
        drawn += _part(circuit, part)
    for block in circuit.blocks:
        drawn += _block(block)
    drawn += [_dot(x, y, 0.25) for x, y in _joints(circuit)]
    for mark in circuit.marks:
        drawn += _mark(mark)
    drawn += [_text(x, y, text) for x, y, text in circuit.texts]
    bottom = circuit.height
    if circuit.variants:
        table, bottom = _table(circuit, bottom)
        drawn += table
    for note in circuit.notes:
        drawn.append(_text(1, bottom, note))
        bottom += 1.4
    width, height = circuit.width * GRID, (bottom + 0.5) * GRID
    body = "\n".join(drawn)
    return (f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height:.0f}" '
            f'viewBox="0 0 {width} {height:.0f}" stroke="#000" stroke-width="1.5" stroke-linejoin="round">\n'
            f"<title>{_escape(circuit.title)}</title>\n<!-- made by hardware-notes/generate from {circuit.name}.circuit -->\n"
            f'<rect width="100%" height="100%" fill="#fff" stroke="none"/>\n{body}\n</svg>\n')
