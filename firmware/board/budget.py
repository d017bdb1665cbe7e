# SPDX-License-Identifier: Apache-2.0
"""Prints what an image for the chip takes, and fails when that is over its budget.

  budget.py NAME.elf NAME.map CALL_GRAPH_DIR...

Flash and RAM come from the linker's map, by region and by object. Stack comes from gcc's call graphs
(-fcallgraph-info=su); of library functions, which have none, from their machine code. A virtual call may reach every
method of its name. Where calls go in a circle, stack_limits.txt says how often at most. Heap: no symbol of one may be in
the image.
"""
import pathlib
import sys

import image_map
import stack_tree

HERE = pathlib.Path(__file__).resolve().parent
STACK_BYTES_MAX = 512  # of one function, without a reason
HEAP_SYMBOLS = {"malloc", "free", "calloc", "realloc", "_malloc_r", "_free_r", "_sbrk", "_sbrk_r", "sbrk", "_Znwj", "_Znaj",
                "_ZnwjSt11align_val_t", "__cxa_allocate_exception", "__cxa_throw"}
OBJECTS_SHOWN = 14


def print_memory(image):
    print(f"{'region':<10} {'used':>8} {'of':>8}   {'':>5}")
    for name, (used, size) in image.regions.items():
        print(f"{name:<10} {used:>8} {size:>8}   {100 * used / size:>4.1f} %")
    print(f"\n{'object':<44} {'flash':>7} {'RAM':>7}")
    ordered = sorted(image.objects.items(), key=lambda item: -sum(item[1]))
    for name, (flash, ram) in ordered[:OBJECTS_SHOWN]:
        print(f"{name:<44} {flash:>7} {ram:>7}")
    rest = ordered[OBJECTS_SHOWN:]
    print(f"{f'{len(rest)} others':<44} {sum(v[0] for _, v in rest):>7} {sum(v[1] for _, v in rest):>7}")


FAULT_HANDLERS = ("chip_hard_fault", "chip_note_fault")  # on a stack of their own


def print_stack(tree, stack_bytes, fault_stack_bytes):
    print("\nworst stack by call tree, bytes")
    complaints = []
    handlers = 0
    for root in tree.roots():
        total, path = tree.deepest(root)
        frame = 0 if root == "chip_reset" or root in FAULT_HANDLERS else stack_tree.EXCEPTION_FRAME_BYTES
        if root in FAULT_HANDLERS and total > fault_stack_bytes:
            complaints.append(f"{root} needs {total} bytes of stack, {fault_stack_bytes} are there")
        if root != "chip_reset" and root not in FAULT_HANDLERS:
            handlers += total + frame
        print(f"{total + frame:>7}  {root}")
        print("         " + " > ".join(f"{tree.name(step)} {tree.own(step)}" for step in path if tree.own(step) >= 64))
    total = tree.deepest("chip_reset")[0] + handlers
    print(f"{total:>7}  all of them on top of each other, of {stack_bytes} there")
    if total > stack_bytes:
        complaints.append(f"{total} bytes of stack may be needed, {stack_bytes} are there")
    print(f"\nfunctions above {STACK_BYTES_MAX} bytes of stack")
    for function in sorted(tree.functions(), key=lambda f: -tree.own(f)):
        if tree.own(function) <= STACK_BYTES_MAX:
            break
        reason = tree.reason(function)
        print(f"{tree.own(function):>7}  {tree.name(function)}: {reason or 'NO REASON GIVEN'}")
        if not reason:
            complaints.append(f"{tree.name(function)} takes {tree.own(function)} bytes of stack without a reason")
    return complaints + tree.complaints


def main():
    elf, map_path, *folders = sys.argv[1:]
    print(f"\n=== {pathlib.Path(elf).name}: budget ===")
    image = image_map.read(map_path)
    print_memory(image)
    tree = stack_tree.StackTree(elf, folders, HERE / "stack_limits.txt")
    complaints = [f"region {name} is over-full" for name, (used, size) in image.regions.items() if used > size]
    complaints += [f"heap symbol {symbol} is in the image" for symbol in sorted(HEAP_SYMBOLS & tree.symbols)]
    complaints += print_stack(tree, image.symbols["chip_stack_bytes"], image.symbols["chip_fault_stack_bytes"])
    print(f"\nheap symbols in the image: {len(HEAP_SYMBOLS & tree.symbols)}")
    for complaint in complaints:
        print(f"OVER BUDGET: {complaint}")
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main())
