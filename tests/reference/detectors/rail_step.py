# SPDX-License-Identifier: Apache-2.0
"""Runs tests/reference/rail_step.cir in ngspice for four supplies; 641 samples at 32 kS/s, step at sample 64."""

import pathlib
import subprocess
import tempfile

import numpy as np

NETLIST = pathlib.Path(__file__).parent.parent / "rail_step.cir"
STEP = 64
SOUND = {"STEP": "3.125e-05", "RD": "0.001", "ILIM": "75", "ESR": "0.005", "C": "0.0066", "RWA": "0.009",
         "LOADA": "0 5 0.002 5 0.00209375 25 0.012 25 0.01209375 5 0.02 5"}
SUPPLIES = {
    "healthy": {},
    "tired-capacitors": {"ESR": "0.025", "C": "0.003"},
    "loose-connector": {"RWA": "0.044"},
    "weak-12v": {"RD": "0.003", "ILIM": "38",
                 "LOADA": "0 20 0.002 20 0.00209375 45 0.00309375 45 0.0031875 20 0.02 20"},
}
NEXT = {"weak-12v": 640}  # where the look ends; elsewhere the load goes off again at 384


def run(supply):
    """{place: volts}."""
    netlist = NETLIST.read_text()
    for name, value in {**SOUND, **SUPPLIES[supply]}.items():
        netlist = netlist.replace(f"@{name}@", value)
    with tempfile.TemporaryDirectory() as folder:
        pathlib.Path(folder, "rail_step.cir").write_text(netlist)
        subprocess.run(["ngspice", "-b", "rail_step.cir"], cwd=folder, check=True, stdout=subprocess.DEVNULL,
                       stderr=subprocess.DEVNULL)
        columns = np.loadtxt(pathlib.Path(folder, "rail_step.out"), skiprows=1)
    return dict(zip(("vo", "tapa", "tapb"), columns[:, 1:4].T))
