# SPDX-License-Identifier: Apache-2.0
"""Rehearses random sessions and reads each twice: the same table as compare_test.py, from whole recordings.

  session_test.py PROGRAM WORK_DIR PROTO_DIR PROTOC [--sessions N]
"""

import argparse
import json
import pathlib
import random
import subprocess
import sys

from table import Table

SCENARIOS = ("healthy", "tired-capacitors", "weak-12v", "overvoltage", "group-regulated", "overload", "loose-connector",
             "loose-return", "intermittent-contact")
EDITION = "atx12v-2.0"
SIMULATED_S = 2


def rehearse(program, work, scenario, seed):
    """(recording, result of its review)."""
    recording, result = work / "session.steadyrail", work / "session.json"
    commands = [["rehearse", "--scenario", scenario, "--seed", str(seed), "--for", f"{SIMULATED_S}s", "--pace", "free",
                 "--limits", EDITION, "--force", "--out", str(recording)],
                ["review", str(recording), "--limits", EDITION, "--json", str(result)]]
    for command in commands:
        run = subprocess.run([program, *command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        if run.returncode not in (0, 1, 4):
            sys.exit(f"{command[0]} of {scenario}, seed {seed}, ended with {run.returncode}")
    return recording, json.loads(result.read_text())


def main():
    parser = argparse.ArgumentParser(description="Compares whole sessions with an independent reading of their bytes.")
    parser.add_argument("program")
    parser.add_argument("work", type=pathlib.Path)
    parser.add_argument("proto", type=pathlib.Path)
    parser.add_argument("protoc")
    parser.add_argument("--sessions", type=int, default=3)
    arguments = parser.parse_args()
    schema = arguments.work / "schema"
    schema.mkdir(parents=True, exist_ok=True)
    files = sorted(str(path) for path in arguments.proto.glob("*.proto"))
    subprocess.run([arguments.protoc, f"-I{arguments.proto}", f"--python_out={schema}", *files], check=True)
    sys.path.insert(0, str(schema))
    import compare_session
    from session import Session

    table, ran = Table(), []
    for seed in range(1, arguments.sessions + 1):
        scenario = random.Random(seed).choice(SCENARIOS)
        recording, result = rehearse(arguments.program, arguments.work, scenario, seed)
        compare_session.compare_all(Session(recording), result, table, seed)
        ran.append(f"{scenario} (seed {seed})")
    table.print()
    print(f"\n{SIMULATED_S} s each of: {', '.join(ran)}")
    for failure in table.failures[:40]:
        print("differs:", failure)
    sys.exit(f"{len(table.failures)} figures differ" if table.failures else 0)


if __name__ == "__main__":
    main()
