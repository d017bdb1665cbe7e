# SPDX-License-Identifier: Apache-2.0
"""Contact and cable resistance between two connectors of one rail, from the definition.

y = V_A - V_B, plus the difference of the two ground offsets where they are measured: what the two + conductors drop.
y = c - R_A I_A + R_B I_B by Huber's fit. Wire: copper of 1.7241e-8 ohm m at 20 C, +0.393 %/K (IEC 60028), diameter
0.127 mm x 92^((36 - AWG)/39) (ASTM B258).
"""

import numpy as np

from robust import huber_fit


def contact(y, amps_a, amps_b, forced):
    """(c, R_A, R_B); c held at zero when `forced`."""
    y, a, b = (np.asarray(each, float) for each in (y, amps_a, amps_b))
    columns = [-a, b] if forced else [np.ones(len(y)), -a, b]
    fit = huber_fit(np.column_stack(columns), y)
    return (0.0, *map(float, fit)) if forced else tuple(map(float, fit))


def wire_ohm_per_m(awg, celsius):
    diameter = 0.127e-3 * 92 ** ((36 - awg) / 39)
    return 1.7241e-8 / (np.pi * diameter**2 / 4) * (1 + 0.00393 * (celsius - 20))
