# SPDX-License-Identifier: Apache-2.0
"""Prints quantity | ours | reference | difference | source for every detector; fails where one differs too much.

  compare_test.py PROBE [--seeds N]
"""

import argparse
import sys

import compare_distributions
import compare_known
import compare_resistance
import compare_traces
from probe import Probe
from table import Table


def main():
    parser = argparse.ArgumentParser(description="Compares the detectors with an independent reading of their definitions.")
    parser.add_argument("probe")
    parser.add_argument("--seeds", type=int, default=50)
    arguments = parser.parse_args()
    probe, table = Probe(arguments.probe), Table()
    compare_known.compare_all(probe, table)
    compare_resistance.known(probe, table)
    compare_distributions.compare_all(probe, table)
    probe.run()
    for seed in range(1, arguments.seeds + 1):
        compare_traces.ask_all(probe, table, seed)
        compare_resistance.ask_all(probe, table, seed)
        probe.run()
    table.print()
    print(f"\nrandom traces: seeds 1 to {arguments.seeds}; the seed of each worst difference stands in its line")
    for failure in table.failures[:40]:
        print("differs:", failure)
    sys.exit(f"{len(table.failures)} figures differ" if table.failures else 0)


if __name__ == "__main__":
    main()
