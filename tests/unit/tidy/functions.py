# SPDX-License-Identifier: Apache-2.0
"""Lengths of functions. C++ by counting braces: honest for this project's layout, not a parser."""
import ast
import re

from sources import code_only

_TYPE = re.compile(r"\b(?:class|struct|union|enum)\b")
_SCOPE = re.compile(r"\bnamespace\b|\bextern\b")
_TEMPLATE = re.compile(r"\btemplate\s*<[^{}]*?>\s*(?=\w)")


def _kind(head):
    """What a brace at file, namespace or class level opens, from the text in front of it."""
    head = _TEMPLATE.sub("", head)
    if _SCOPE.search(head):
        return "scope"
    if _TYPE.search(head) and "(" not in head:
        return "scope"
    return "function" if "(" in head else "data"


def cpp_functions(text):
    """[(first line, last line)] of every function body's outermost braces, the line of its name included."""
    found = []
    stack = []  # "scope", "function", "data" or "inner"
    head_start = 0
    code = code_only(text)
    opened_at = 0
    for at, letter in enumerate(code):
        if letter == "{":
            kind = "inner" if "function" in stack or "data" in stack else _kind(code[head_start:at])
            if kind == "function":
                head = code[head_start:at]
                opened_at = head_start + len(head) - len(head.lstrip())
            stack.append(kind)
        elif letter == "}" and stack:
            if stack.pop() == "function":
                found.append((code.count("\n", 0, opened_at) + 1, code.count("\n", 0, at) + 1))
        if letter in "{};" and "function" not in stack:
            head_start = at + 1
    return found


def python_functions(text):
    nodes = ast.walk(ast.parse(text))
    return [(node.lineno, node.end_lineno) for node in nodes if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))]
