# SPDX-License-Identifier: Apache-2.0
"""The session shown in README.md is what the program prints: runs its command and compares line by line.

session.py STEADYRAIL            exits 1 and shows both when they differ
session.py STEADYRAIL --write    puts what the program prints into README.md
"""
import pathlib
import re
import subprocess
import sys
import tempfile

README = pathlib.Path(__file__).resolve().parents[3] / "README.md"
COMMAND = "steadyrail rehearse --scenario loose-connector --seed 1 --for 20s --unit u-1 --limits atx-3.0 --report loose.html"
BLOCK = re.compile(r"## A session\n\n.*?```\n(.*?)```\n", re.DOTALL)
# The lines of the output that are shown, in its order; what lies between is shown as "...".
SHOWN = [
    r"^SIMULATED",
    r"^Out of limits",
    r"^Conclusion",
    r"^  .*graphics-1 fell to",
    r"^  .*graphics-1 settled at",
    r"^  \d+ checks:",
    r"^  Cable or contact of",
    r"^  \+12V +graphics-1 +dynamic",
    r"^Coverage:",
    r"^Report",
]


def printed(program):
    """What the command prints on stdout, run in an empty folder. 1 is its exit code when something failed."""
    with tempfile.TemporaryDirectory() as folder:
        run = subprocess.run([program, *COMMAND.split()[1:]], cwd=folder, capture_output=True, text=True, timeout=300,
                             check=False)
        if run.returncode not in (0, 1, 4) or not (pathlib.Path(folder) / "loose.html").stat().st_size:
            sys.exit(f"rehearse ended with {run.returncode}:\n{run.stderr}")
        return run.stdout.splitlines()


def shown(lines):
    block = ["$ " + COMMAND]
    last = -1
    for pattern in SHOWN:
        found = next((at for at in range(last + 1, len(lines)) if re.search(pattern, lines[at])), None)
        if found is None:
            sys.exit(f"the program no longer prints a line like {pattern} in its place:\n" + "\n".join(lines))
        if found != last + 1:
            block.append("...")
        block.append(lines[found].rstrip())
        last = found
    return "\n".join(block) + "\n"


def main():
    readme = README.read_text(encoding="utf-8")
    block = BLOCK.search(readme)
    if block is None:
        sys.exit("README.md has no session")
    real = shown(printed(sys.argv[1]))
    if sys.argv[2:] == ["--write"]:
        README.write_text(readme[:block.start(1)] + real + readme[block.end(1):], encoding="utf-8")
    elif block.group(1) != real:
        sys.exit(f"README.md shows\n{block.group(1)}\nthe program prints\n{real}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
