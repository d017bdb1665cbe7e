# SPDX-License-Identifier: Apache-2.0
"""Huber's fit by iteratively reweighted least squares: tuning constant 1.345, scale = median size of a residual over that of
a standard normal, rounds until nothing moves.
"""

import numpy as np

TUNING = 1.345
MAD_OF_NORMAL = 0.6744897501960817  # normal quantile of 0.75


def huber_fit(design, y, most=20000):
    """Coefficients for the columns of `design`."""
    beta, *_ = np.linalg.lstsq(design, y, rcond=None)
    for _ in range(most):
        residual = y - design @ beta
        scale = np.median(np.abs(residual)) / MAD_OF_NORMAL
        if scale < 1e-15:
            break
        weight = np.sqrt(np.minimum(1, TUNING * scale / np.maximum(np.abs(residual), 1e-300)))
        last = beta
        beta, *_ = np.linalg.lstsq(design * weight[:, None], y * weight, rcond=None)
        if np.max(np.abs(beta - last)) <= 1e-14 * np.max(np.abs(beta)):
            break
    return beta
