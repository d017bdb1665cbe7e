# SPDX-License-Identifier: Apache-2.0
"""Runs netlists through ngspice and reads what they print. The circuits come from hardware-notes/circuits."""
import functools
import pathlib
import re
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[3]
NOTES = ROOT / "hardware-notes"
sys.path.insert(0, str(NOTES / "generate"))
import circuit  # noqa: E402
import netlist  # noqa: E402

_PRINTED = re.compile(r"^([\w()+\-#\[\].,]+)\s*=\s*([-+]?\d[\d.]*(?:e[-+]?\d+)?)(?:\s|$)", re.MULTILINE)


class SpiceError(Exception):
    pass


def _simulate(text, folder):
    path = pathlib.Path(folder) / "circuit.cir"
    path.write_text(text, encoding="utf-8")
    done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=60, cwd=folder)
    if re.search(r"error|singular|aborted|warning: .*short", done.stdout + done.stderr, re.IGNORECASE):
        raise SpiceError(f"{done.stdout}{done.stderr}\n{text}")
    return done.stdout


@functools.cache
def _run(text):
    with tempfile.TemporaryDirectory() as folder:
        return {name: float(value) for name, value in _PRINTED.findall(_simulate(text, folder))}


def run(text):
    """{name: value} of every `name = value` line. A complaint of ngspice is an error, never a missing figure.
    The same netlist is solved once."""
    return dict(_run(text))


@functools.cache
def run_for_file(text, name):
    """What the netlist writes into a file of this name."""
    with tempfile.TemporaryDirectory() as folder:
        _simulate(text, folder)
        return (pathlib.Path(folder) / name).read_text(encoding="utf-8")


def load(name):
    return circuit.read(NOTES / "circuits" / f"{name}.circuit")


def shipped(name):
    """What a netlist of hardware-notes/netlists prints, as it lies there."""
    return run((NOTES / "netlists" / f"{name}.cir").read_text(encoding="utf-8"))


def solve(lines, *wanted):
    """Operating point of these lines: values of the wanted expressions, by their text."""
    asked = [f"let w{i}={expression}" for i, expression in enumerate(wanted)]
    asked.append("print " + " ".join(f"w{i}" for i in range(len(wanted))))
    text = "\n".join(["* operating point", *lines, ".control", "op", *asked, ".endc", ".end", ""])
    found = run(text)
    return [found[f"w{i}"] for i in range(len(wanted))]
