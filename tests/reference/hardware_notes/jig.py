# SPDX-License-Identifier: Apache-2.0
"""Channels of the jig descriptions that ship, read from their text."""
import re

import front_end
from spice import ROOT

GROUPS = {"main": "m", "processor": "p", "graphics": "g"}


def text_of(name):
    return (ROOT / "host/data/jigs" / f"{name}.textproto").read_text(encoding="utf-8")


def channels(name):
    """[{field: text}] of host/data/jigs/<name>.textproto; pole_hz is a list of numbers."""
    found = []
    for block in re.findall(r"^channels \{(.*?)^\}", text_of(name).split("calibration {")[0], re.DOTALL | re.MULTILINE):
        fields = dict(re.findall(r'(\w+): "?([^"\s\[]+)"?', block))
        poles = re.search(r"pole_hz: \[([^\]]*)\]", block)
        fields["pole_hz"] = [float(pole) for pole in poles.group(1).split(",")]
        found.append(fields)
    return found


def variant_of(name):
    """The netlist a channel is built as; None for currents and the like."""
    for variant, names in front_end.chain().channels.items():
        if name in names:
            return variant
    return None


def group_channels(group):
    """[(variant, volts at +, volts at return)] of a group's voltage and logic channels at nominal; PS_ON# is low."""
    found = []
    for channel in channels("reference"):
        variant = variant_of(channel["name"])
        if variant and channel["input"].startswith(GROUPS[group] + "."):
            found.append((variant, 0.0 if channel["name"] == "ps-on" else front_end.NOMINAL_V[variant], 0.0))
    return found
