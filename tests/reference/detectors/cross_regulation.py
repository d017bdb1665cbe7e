# SPDX-License-Identifier: Apache-2.0
"""Cross-regulation from the definition: V_r = a_r - sum of K_rs I_s over settled points, one Huber fit a rail."""

import numpy as np

from robust import huber_fit


def cross_regulation(amps, volts):
    """`amps`, `volts`: one column a rail, one row a settled point. Returns (K in ohms, open voltages)."""
    amps, volts = np.asarray(amps, float), np.asarray(volts, float)
    design = np.column_stack([np.ones(len(amps)), amps])
    fits = np.array([huber_fit(design, volts[:, r]) for r in range(volts.shape[1])])
    return -fits[:, 1:], fits[:, 0]


def condition(amps):
    """Of the currents alone, each about its mean and scaled to unit length."""
    amps = np.asarray(amps, float)
    moved = amps - amps.mean(axis=0)
    return float(np.linalg.cond(moved / np.linalg.norm(moved, axis=0)))
