# SPDX-License-Identifier: Apache-2.0
"""Counts ctest's JUnit file. Prints "N passed, N failed" as the last line; exits 0 only when nothing failed.

tally.py FILE CTEST_EXIT_CODE. A test that was not run, was skipped or disabled has not passed: it counts as failed.
"""
import sys
import xml.etree.ElementTree as ElementTree


def tally(path, ctest_code):
    """(passed, names of the failed)."""
    try:
        cases = ElementTree.parse(path).getroot().iter("testcase")
        states = [(case.get("name"), case.get("status")) for case in cases]
    except (OSError, ElementTree.ParseError) as error:
        return 0, [f"ctest left no readable result: {error}"]
    failed = [name for name, state in states if state != "run"]
    if not states:
        failed.append("no test was found")
    if ctest_code != 0 and not failed:
        failed.append(f"ctest ended with {ctest_code}")
    return len(states) - sum(1 for _, state in states if state != "run"), failed


def main():
    passed, failed = tally(sys.argv[1], int(sys.argv[2]))
    for name in failed:
        print("failed:", name)
    print(f"{passed} passed, {len(failed)} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
