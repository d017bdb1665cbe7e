# SPDX-License-Identifier: Apache-2.0
"""The distributions that stand behind every U and every interval, against printed tables and against closed forms."""

import math

HANDBOOK = "NIST/SEMATECH e-Handbook, table 1.3.6.7.{} (from memory)"
GUM = "JCGM 100:2008, table G.2 (from memory)"

# (probability, printed)
NORMAL = ((0.90, 1.282), (0.95, 1.645), (0.975, 1.960), (0.99, 2.326), (0.995, 2.576), (0.999, 3.090))
# (probability, degrees of freedom, printed)
STUDENT = ((0.975, 1, 12.706), (0.975, 2, 4.303), (0.975, 5, 2.571), (0.975, 10, 2.228), (0.975, 30, 2.042),
           (0.995, 10, 3.169), (0.95, 20, 1.725))
CHI2 = ((0.95, 1, 3.841), (0.95, 2, 5.991), (0.95, 10, 18.307), (0.975, 10, 20.483), (0.05, 10, 3.940),
        (0.99, 5, 15.086))
# Student factors of 95.45 % (degrees of freedom, printed)
COVERAGE = ((1, 13.97), (2, 4.53), (3, 3.31), (4, 2.87), (5, 2.65), (10, 2.28), (20, 2.13), (50, 2.05))


def printed(probe, table):
    def ask(word, numbers, name, value, digits, source):
        probe.ask(word, numbers, [], lambda answer: table.row(name, answer["value"], value, source,
                                                              0.5000001 * 10**-digits))

    for p, value in NORMAL:
        ask("normal_quantile", [p], f"normal quantile of {p}", value, 3, HANDBOOK.format(1))
    for p, dof, value in STUDENT:
        ask("t_quantile", [p, dof], f"Student quantile of {p}, {dof} degrees of freedom", value, 3, HANDBOOK.format(2))
    for p, dof, value in CHI2:
        ask("chi2_quantile", [p, dof], f"chi-square quantile of {p}, {dof} degrees of freedom", value, 3,
            HANDBOOK.format(4))
    for dof, value in COVERAGE:
        ask("student", [0.9545, dof], f"coverage factor of 95.45 %, {dof} degrees of freedom", value, 2, GUM)


def greatest_of(count):
    """Median of the greatest of `count` normal deviates: the tail beyond it is 1 - 0.5^(1/count); by bisection."""
    tail = -math.expm1(math.log(0.5) / count)
    low, high = 0.0, 40.0
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if 0.5 * math.erfc(middle / math.sqrt(2)) > tail else (low, middle)
    return low


def closed(probe, table):
    for p in (0.9, 0.95, 0.99):
        # Two degrees of freedom: F(x) = 1 - e^(-x/2). One: tan of the half circle.
        probe.ask("chi2_quantile", [p, 2], [], lambda answer, p=p: table.row(
            f"chi-square quantile of {p}, 2 degrees: exact", answer["value"], -2 * math.log(1 - p), "-2 ln(1 - p)", 1e-11))
        probe.ask("t_quantile", [p, 1], [], lambda answer, p=p: table.row(
            f"Student quantile of {p}, 1 degree: exact", answer["value"], math.tan(math.pi * (p - 0.5)),
            "tan(pi (p - 1/2))", 1e-11))
    for count in (2, 640, 32000, 8 * 3600 * 32000):
        probe.ask("noise_sigmas", [count], [], lambda answer, count=count: table.row(
            f"greatest of {count} normal deviates, median", answer["value"], greatest_of(count),
            "bisection on erfc of the C library", 1e-9))
    # Welch-Satterthwaite by hand: u 3 and 4 with 4 and 9 degrees of freedom: 25^2 / (81/4 + 256/9).
    probe.ask("dof", [], [[3, 4], [4, 9]], lambda answer: table.row(
        "effective degrees of freedom of 3 (4) and 4 (9)", answer["value"], 625 / (81 / 4 + 256 / 9),
        "JCGM 100:2008, formula G.2b, by hand", 1e-12))


def compare_all(probe, table):
    printed(probe, table)
    closed(probe, table)
