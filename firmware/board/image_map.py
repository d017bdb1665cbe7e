# SPDX-License-Identifier: Apache-2.0
"""Reads the linker's map: what each memory region and each object takes."""
import dataclasses
import re

_REGION = re.compile(r"^(\w+)\s+0x([0-9a-f]+)\s+0x([0-9a-f]+)")
_OUTPUT = re.compile(r"^(\.[\w.]+)(?:\s+0x([0-9a-f]+)\s+0x([0-9a-f]+))?(.*)$")
_INPUT = re.compile(r"^ (?:\.|COMMON)\S*\s+0x([0-9a-f]+)\s+0x([0-9a-f]+) (\S.*)$")
_SYMBOL = re.compile(r"^\s+0x([0-9a-f]+)\s+(chip_\w+)(?: = .*)?$")


@dataclasses.dataclass
class Image:
    regions: dict  # name: (bytes used, bytes there)
    objects: dict  # name: [bytes of flash, bytes of RAM]
    symbols: dict  # of the linker script


def _object_name(path):
    """core/telemetry.cc of CMakeFiles/.../firmware/core/telemetry.cc.obj; libc_nano.a of its members."""
    archive = re.search(r"([^/]+\.a)\([^)]*\)$", path)
    if archive:
        return archive.group(1)
    name = path.removesuffix(".obj")
    for mark in ("/firmware/", ".dir/"):
        if mark in name:
            name = name.rsplit(mark, 1)[1] if mark == "/firmware/" else name.split(mark, 1)[1]
            break
    return "/".join(name.split("/")[-2:])


def _joined(lines):
    """The map's lines, with those that were broken after a long name made whole."""
    held = ""
    for line in lines:
        line = line.rstrip("\n")
        if held:
            line = held + line
            held = ""
        if re.match(r"^ ?\.\S+$", line):
            held = line
            continue
        yield line


def read(path):
    with open(path, encoding="utf-8") as source:
        lines = list(_joined(source))
    start = lines.index("Memory Configuration")
    begin = lines.index("Linker script and memory map")
    ranges = {}
    for line in lines[start:begin]:
        match = _REGION.match(line)
        if match and match.group(1) != "default":
            ranges[match.group(1)] = (int(match.group(2), 16), int(match.group(3), 16))
    image = Image({name: (0, size) for name, (_, size) in ranges.items()}, {}, {})

    def region_of(address):
        return next((name for name, (origin, size) in ranges.items() if origin <= address < origin + size), None)

    def add(region, size):
        used, there = image.regions[region]
        image.regions[region] = (used + size, there)

    in_loaded = False
    for line in lines[begin:]:
        symbol = _SYMBOL.match(line)
        if symbol:
            image.symbols[symbol.group(2)] = int(symbol.group(1), 16)
            continue
        output = _OUTPUT.match(line)
        if output and output.group(2):
            region = region_of(int(output.group(2), 16))
            in_loaded = output.group(1) == ".data"  # the only one whose content is copied from flash
            if region:
                add(region, int(output.group(3), 16))
                if in_loaded:
                    add("flash", int(output.group(3), 16))
            continue
        part = _INPUT.match(line)
        if not part:
            continue
        region, size = region_of(int(part.group(1), 16)), int(part.group(2), 16)
        if region is None or size == 0:
            continue
        entry = image.objects.setdefault(_object_name(part.group(3)), [0, 0])
        in_flash = region.startswith("flash")
        entry[0] += size if in_flash or in_loaded else 0
        entry[1] += 0 if in_flash else size
    return image
