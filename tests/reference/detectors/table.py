# SPDX-License-Identifier: Apache-2.0
"""The table of what was compared: quantity, ours, reference, difference, source."""


def shown(value):
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def difference(ours, reference):
    """Nothing where the two are no numbers, or one is missing."""
    try:
        return abs(ours - reference)
    except TypeError:
        return 0 if ours == reference else None


class Table:
    def __init__(self):
        self.rows = {}  # quantity -> (ours, reference, difference, within, source, times, seed)
        self.failures = []

    def row(self, quantity, ours, reference, source, within=0, seed=None):
        """A figure; of those of one name the one that differs most is kept. `within`: what the difference may be."""
        apart = difference(ours, reference)
        rank = float("inf") if apart is None or apart != apart else apart
        if rank > within:
            where = "" if seed is None else f", seed {seed}"
            self.failures.append(f"{quantity}: ours {shown(ours)}, reference {shown(reference)}{where}")
        kept = self.rows.get(quantity)
        times = kept[5] + 1 if kept else 1
        if kept and kept[2] >= rank:
            self.rows[quantity] = (*kept[:5], times, kept[6])
        else:
            self.rows[quantity] = (ours, reference, rank, within, source, times, seed)

    def print(self):
        lines = [("quantity", "ours", "reference", "difference", "allowed", "source")]
        for quantity, (ours, reference, apart, within, source, times, seed) in self.rows.items():
            note = source if seed is None else f"{source}; worst of {times}, seed {seed}"
            lines.append((quantity, shown(ours), shown(reference), f"{apart:.3g}", f"{within:.3g}", note))
        widths = [max(len(line[k]) for line in lines) for k in range(5)]
        for line in lines:
            print(" | ".join([line[k].ljust(widths[k]) for k in range(5)] + [line[5]]))
