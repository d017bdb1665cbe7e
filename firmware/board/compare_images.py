# SPDX-License-Identifier: Apache-2.0
"""Says what two images for the chip share, byte for byte, and what differs.

  compare_images.py ONE.elf ONE.map OTHER.elf OTHER.map COMMON_DIR...

Every object below COMMON_DIR must be linked into both, the very same file; every function of it that both images hold must
have the same size in both (its bytes differ only where the linker put addresses).
"""
import hashlib
import pathlib
import re
import subprocess
import sys

_LOAD = re.compile(r"^LOAD (\S+\.obj)$")


def objects_of(map_path):
    return {match.group(1) for match in map(_LOAD.match, pathlib.Path(map_path).read_text(encoding="utf-8").splitlines())
            if match}


def functions_of(path):
    """{symbol: size} of what a file defines as code."""
    listing = subprocess.run(["arm-none-eabi-nm", "-S", "--defined-only", path], check=True, capture_output=True,
                             text=True).stdout
    parts = [line.split() for line in listing.splitlines()]
    return {part[3]: int(part[1], 16) for part in parts if len(part) == 4 and part[2] in "tTwW"}


def main():
    one, one_map, other, other_map, *common_folders = sys.argv[1:]
    sets = objects_of(one_map), objects_of(other_map)
    shared = sorted(sets[0] & sets[1])
    common = sorted(path for path in sets[0] | sets[1] if path.startswith(tuple(common_folders)))
    complaints = [f"{path} is not in both images" for path in common if path not in shared]
    digest = hashlib.sha256()
    for path in shared:
        digest.update(pathlib.Path(path).read_bytes())
    here, there = functions_of(one), functions_of(other)
    compared = 0
    replaced = []
    for path in shared:
        for function in functions_of(path):
            if function not in here or function not in there:
                continue  # not needed by one of them: left out by the linker
            compared += 1
            if function.startswith("chip_") and here[function] != there[function]:
                replaced.append(function)  # an interrupt the board answers by a function of its own
            elif here[function] != there[function]:
                complaints.append(f"{function} of {path} is {here[function]} bytes in one, {there[function]} in the other")
    names = [pathlib.Path(path).name for path in (one, other)]
    print(f"\n=== {names[0]} and {names[1]} ===")
    print(f"{len(shared)} objects in both, byte for byte, SHA-256 of all {digest.hexdigest()[:16]}; {compared} functions alike")
    for name, own in zip(names, (sets[0] - sets[1], sets[1] - sets[0])):
        print(f"only in {name}: " + ", ".join(sorted("/".join(pathlib.Path(path).parts[-2:]).removesuffix(".obj") for path in own)))
    print("and each has a linker script of its own")
    print("interrupts answered by only one: " + (", ".join(sorted(replaced)) or "none"))
    for complaint in complaints:
        print(f"NOT ALIKE: {complaint}")
    return 1 if complaints or not common or not compared else 0


if __name__ == "__main__":
    sys.exit(main())
