# SPDX-License-Identifier: Apache-2.0
"""Worst stack of each call tree of an image, from gcc's call graphs and, for libraries, from machine code."""
import collections
import pathlib
import re
import subprocess

EXCEPTION_FRAME_BYTES = 104 + 4  # with the FPU's registers, and alignment (ARMv7-M B1.5.6)

_NODE = re.compile(r'^node: \{ title: "([^"]+)" label: "([^"]*)"')
_EDGE = re.compile(r'^edge: \{ sourcename: "([^"]+)" targetname: "([^"]+)"(?: label: "([^"]*)")?')
_SYMBOL = re.compile(r"^([0-9a-f]+) <(.+)>:$")
_CALL = re.compile(r"\s(?:bl|b\.w|b\.n|b)\s+[0-9a-f]+ <([^>+]+)>")
_PUSH = re.compile(r"\s(?:push|stmdb)\b.*\{([^}]*)\}")
_VPUSH = re.compile(r"\svpush\b.*\{([^}]*)\}")
_SUB_SP = re.compile(r"\ssub(?:\.w|w)?\s+sp,(?: sp,)? #(\d+)")
_NAME_BEFORE_CALL = re.compile(r"(\w+)\s*$")


def _register_count(text):
    count = 0
    for item in text.split(","):
        first, _, last = item.strip().partition("-")
        count += int(last[1:]) - int(first[1:]) + 1 if last else 1
    return count


def _bare(title):
    """The symbol; gcc puts the file before those that are not seen outside it."""
    return title.rsplit(":", 1)[-1]


class StackTree:
    def __init__(self, elf, folders, limits):
        self.complaints = []
        self._own, self._label, self._edges = {}, {}, collections.defaultdict(set)
        self._indirect = collections.defaultdict(set)
        self._reasons, self._rounds_allowed, self._pointers, self._optional = self._read_limits(limits)
        self._circles, self._circle_of, self._deepest = [], {}, {}
        for folder in folders:
            for path in pathlib.Path(folder).rglob("*.ci"):
                self._read_call_graph(path)
        self.symbols = set()
        self._read_machine_code(elf)
        self._resolve_indirect()

    @staticmethod
    def _read_limits(path):
        """Lines `reason NAME = WHY`, `circle NAME COUNT = WHY`, `pointer MEMBER = TARGETS`, `optional METHOD = WHY`."""
        reasons, circles, pointers, optional = [], {}, {}, set()
        for line in path.read_text(encoding="utf-8").splitlines():
            line = line.split("#")[0].strip()
            if not line:
                continue
            kind, rest = line.split(" ", 1)
            name, text = (part.strip() for part in rest.split("=", 1))
            if kind == "reason":
                reasons.append((name, text))
            elif kind == "circle":
                circles[name.split()[0]] = int(name.split()[1])
            elif kind == "pointer":
                pointers[name] = text.split()
            elif kind == "optional":
                optional.add(name)
            else:
                raise ValueError(line)
        return reasons, circles, pointers, optional

    def _read_call_graph(self, path):
        for line in path.read_text(encoding="utf-8").splitlines():
            node = _NODE.match(line)
            if node:
                title, label = _bare(node.group(1)), node.group(2)
                parts = label.split("\\n")
                size = re.match(r"(\d+) bytes \((static|dynamic,bounded)\)", parts[2]) if len(parts) > 2 else None
                if size:
                    self._own[title] = max(self._own.get(title, 0), int(size.group(1)))
                    self._label[title] = parts[0]
                elif len(parts) > 2:
                    self.complaints.append(f"the stack of {parts[0]} is not bounded: {parts[2]}")
                continue
            edge = _EDGE.match(line)
            if edge:
                source, target, place = _bare(edge.group(1)), _bare(edge.group(2)), edge.group(3)
                if target == "__indirect_call":
                    self._indirect[source].add(place or "")
                else:
                    self._edges[source].add(target)

    def _read_machine_code(self, elf):
        """Own bytes and calls of every function without a call graph; which functions the image holds."""
        text = subprocess.run(["arm-none-eabi-objdump", "-d", "--no-show-raw-insn", elf], check=True, capture_output=True,
                              text=True).stdout
        name, own, calls = None, 0, set()
        found = {}
        for line in text.splitlines() + ["00000000 <end>:"]:
            symbol = _SYMBOL.match(line)
            if symbol:
                if name:
                    found[name] = (own, calls - {name})
                name, own, calls = symbol.group(2), 0, set()
                continue
            for pattern, width in ((_PUSH, 4), (_VPUSH, 8)):
                match = pattern.search(line)
                if match and (pattern is _VPUSH or "sp" in line or "push" in line):
                    own += width * _register_count(match.group(1))
            match = _SUB_SP.search(line)
            if match:
                own += int(match.group(1))
            call = _CALL.search(line)
            if call:
                calls.add(call.group(1))
        every = subprocess.run(["arm-none-eabi-nm", elf], check=True, capture_output=True, text=True).stdout
        self.symbols = {line.split()[-1] for line in every.splitlines()}
        for function, (bytes_of, targets) in found.items():
            if function not in self._own:
                self._own[function] = bytes_of
                self._label[function] = function
                self._edges[function] = targets
        self._linked = set(found) | self.symbols

    def _resolve_indirect(self):
        by_method = collections.defaultdict(set)
        for title, label in self._label.items():
            method = re.search(r"::(\w+)\(", label)
            if method and title in self._linked:
                by_method[method.group(1)].add(title)
        for source, places in self._indirect.items():
            if source not in self._linked:
                continue
            for place in places:
                name = self._called_name(place)
                if name in self._pointers:
                    starts = tuple(self._pointers[name])
                    targets = {title for title in self._linked if title.startswith(starts)} if starts else set()
                else:
                    targets = by_method.get(name, set())
                if not targets and name not in self._pointers and name not in self._optional:
                    self.complaints.append(f"{self.name(source)} calls what nobody knows: {place} {name}")
                self._edges[source] |= targets

    @staticmethod
    def _called_name(place):
        """The name before the bracket of a call at FILE:LINE:COLUMN."""
        path, line, column = place.rsplit(":", 2)
        text = pathlib.Path(path).read_text(encoding="utf-8", errors="replace").splitlines()[int(line) - 1]
        at = int(column) - 1
        name = _NAME_BEFORE_CALL.search(text[:at])
        if text[at:at + 1] == "(" and name:
            return name.group(1)
        whole = re.match(r"\W*([\w.>\[\]-]+?)(\w+)\s*\(", text[at:])
        return whole.group(2) if whole else text[at:at + 40]

    def name(self, function):
        label = self._label.get(function, function)
        label = re.sub(r"\(.*", "", label).split(" ")[-1]
        return function if label.isdigit() else label  # gcc numbers parts of functions

    def own(self, function):
        return self._own.get(function, 0)

    def functions(self):
        return [function for function in self._own if function in self._linked]

    def reason(self, function):
        names = self._label.get(function, function) + " " + function
        return next((text for name, text in self._reasons if name in names), None)

    def roots(self):
        handlers = sorted(function for function in self._own if function in self._linked and
                          re.fullmatch(r"chip_(nmi|hard_fault|note_fault|sys_tick|tim\d\w*|usart\d|dma\d\w+)", function))
        return ["chip_reset"] + handlers

    def deepest(self, function):
        """(bytes, path) of the deepest call tree under `function`, its own frame included."""
        if not self._circle_of:
            self._find_circles()
        return self._deepest_of_circle(self._circle_of[function])

    def _deepest_of_circle(self, circle):
        """The same for functions that call each other: each of them as often as the table allows, then the deepest exit."""
        if circle in self._deepest:
            return self._deepest[circle]
        members = self._circles[circle]
        own = sum(self.own(function) for function in members) * self._rounds(members)
        exits = {self._circle_of[target] for function in members for target in self._edges.get(function, ())} - {circle}
        best, path = max((self._deepest_of_circle(other) for other in exits), default=(0, ()))
        self._deepest[circle] = (own + best, tuple(members) + path)
        return self._deepest[circle]

    def _rounds(self, members):
        if len(members) == 1 and members[0] not in self._edges.get(members[0], ()):
            return 1
        allowed = [rounds for start, rounds in self._rounds_allowed.items()
                   for function in members if function.startswith(start)]
        if not allowed:
            self.complaints.append("calls go in a circle: " + ", ".join(self.name(function) for function in members))
        return max(allowed, default=1)

    def _find_circles(self):
        """Tarjan's strongly connected components; most hold one function."""
        index, low, stack, number = {}, {}, [], [0]

        def visit(function):
            index[function] = low[function] = number[0]
            number[0] += 1
            stack.append(function)
            for target in self._edges.get(function, ()):
                if target not in index:
                    visit(target)
                    low[function] = min(low[function], low[target])
                elif target not in self._circle_of:
                    low[function] = min(low[function], index[target])
            if low[function] == index[function]:
                at = stack.index(function)
                for member in stack[at:]:
                    self._circle_of[member] = len(self._circles)
                self._circles.append(stack[at:])
                del stack[at:]

        for function in list(self._own):
            if function not in index:
                visit(function)
