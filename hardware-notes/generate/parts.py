# SPDX-License-Identifier: Apache-2.0
"""The parts list: what the circuits draw, counted, and what families.csv adds that no drawing shows."""
import csv
import io

import symbols

HEADER = ["part", "value", "quantity", "property that matters", "alternates", "where"]


class PartsError(Exception):
    pass


def families(path):
    """{family: row} of families.csv: family, part, value, quantity, property, alternates, where. Value and quantity stand
    there only for parts that no drawing shows."""
    with open(path, encoding="utf-8", newline="") as file:
        return {row["family"]: row for row in csv.DictReader(file)}


def counts(circuits):
    """{(family, value as read): (quantity, {circuits})}."""
    found = {}
    for circuit in circuits:
        for variant in circuit.variants or [""]:
            times = len(circuit.channels[variant]) if variant in circuit.channels else circuit.built[0]
            for key in _listed(circuit, variant):
                quantity, where = found.get(key, (0, set()))
                found[key] = (quantity + times, where | {circuit.name})
    return found


def _listed(circuit, variant):
    """(family, value) of everything drawn that has a family and is fitted."""
    for part in circuit.parts.values():
        value = circuit.value_of(part.name, variant)
        if "family" in part.options and value:
            yield part.options["family"], part.options.get("listed", symbols.readable(part.kind, value))
    yield from (key for key in circuit.block_families.values() if key[0])


def _plain(text):
    """Units in letters every reader of a table can read."""
    return text.replace("\u03a9", "ohm").replace("\u00b5", "u")


def table(circuits, path):
    """parts.csv as text."""
    known = families(path)
    rows = []
    for (family, value), (quantity, where) in counts(circuits).items():
        if family not in known:
            raise PartsError(f"families.csv has no {family}, which {sorted(where)} draws")
        row = known[family]
        rows.append([row["part"], _plain(value), quantity, row["property"], row["alternates"], "; ".join(sorted(where))])
    drawn = {family for family, _ in counts(circuits)}
    for family, row in known.items():
        if family not in drawn:
            if not row["quantity"]:
                raise PartsError(f"families.csv: {family} is neither drawn nor has it a quantity")
            rows.append([row["part"], row["value"], row["quantity"], row["property"], row["alternates"], row["where"]])
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows(sorted(rows, key=lambda row: (row[0], str(row[1]))))
    return out.getvalue()
