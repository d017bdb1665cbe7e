# SPDX-License-Identifier: Apache-2.0
"""Makes hardware-notes/drawings, hardware-notes/netlists and hardware-notes/parts.csv from hardware-notes/circuits.

  python3 hardware-notes/generate/generate.py            writes them
  python3 hardware-notes/generate/generate.py --check    names the files that are not what they should be; exit 1 then
"""
import pathlib
import sys

import circuit
import drawing
import netlist
import parts

NOTES = pathlib.Path(__file__).resolve().parents[1]


def circuits(notes=NOTES):
    return [circuit.read(path) for path in sorted((notes / "circuits").glob("*.circuit"))]


def files(notes=NOTES):
    """{path below hardware-notes: content} of everything that is made."""
    made = {}
    drawn = circuits(notes)
    for one in drawn:
        made[f"drawings/{one.name}.svg"] = drawing.svg(one)
        for variant in one.variants or [""]:
            made[f"netlists/{one.name}{'-' if variant else ''}{variant}.cir"] = netlist.runnable(one, variant)
    made["parts.csv"] = parts.table(drawn, notes / "circuits" / "families.csv")
    return made


def differences(notes=NOTES):
    """Paths that are missing, differ or have no source."""
    made = files(notes)
    found = [path for path, content in made.items()
             if not (notes / path).is_file() or (notes / path).read_text(encoding="utf-8") != content]
    kept = [path.relative_to(notes).as_posix() for folder in ("drawings", "netlists") for path in (notes / folder).iterdir()]
    return sorted(found + [path for path in kept if path not in made])


def main(arguments):
    try:
        if arguments == ["--check"]:
            wrong = differences()
            for path in wrong:
                print(f"hardware-notes/{path} is not what hardware-notes/circuits makes")
            return 1 if wrong else 0
        if arguments:
            print(__doc__)
            return 2
        for path, content in files().items():
            (NOTES / path).parent.mkdir(exist_ok=True)
            (NOTES / path).write_text(content, encoding="utf-8")
        return 0
    except circuit.CircuitError as error:
        print(error, file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
