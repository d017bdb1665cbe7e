# SPDX-License-Identifier: Apache-2.0
"""House rules that a machine can check, over every file of the project."""
import re
import subprocess
import sys
import unittest

from functions import cpp_functions, python_functions
from sources import ROOT, files_ending, project_files, text_of

FILE_LINES_MAX = 500
FUNCTION_LINES_MAX = 70
README_LINES_MAX = 20
TOP_LEVEL = {"CMakeLists.txt", "DEVELOPERS.md", "LICENSE", "README.md", "firmware", "hardware-notes", "host", "proto", "tests"}
SPDX = "SPDX-License-Identifier: Apache-2.0"

# Words that do not belong into the tree: unfinished work, tests that do not test, and paths of one machine. Each pattern
# is written so that it does not find itself.
BANNED = [
    r"\bTO[D]O\b", r"\bFI[X]ME\b", r"\bXX[X]\b", r"GTEST_SKI[P]", r"DISABLE[D]_", r"EXPECT_TRUE\(tru[e]\)", r"SUCCEE[D]\(\)",
    r"(?<![\w.])/roo[t]/", r"(?<![\w.])/hom[e]/\w",
]


def folder_table():
    """{folder: allowed folders} from includes.txt."""
    table = {}
    for line in text_of("tests/unit/tidy/includes.txt").splitlines():
        line = line.split("#")[0].strip()
        if line:
            folder, allowed = line.split(":")
            table[folder] = set(allowed.split())
    return table


def within(folder, parents):
    """The longest of `parents` that is `folder` or holds it; None when there is none."""
    fitting = [parent for parent in parents if folder == parent or folder.startswith(parent + "/")]
    return max(fitting, key=len, default=None)


def include_complaint(path, included, table):
    """Why `path` may not include `included`; None when it may."""
    own = within(path.rsplit("/", 1)[0], table)
    if own is None:
        return f"{path}: its folder has no line in includes.txt"
    if included.endswith(".npb.h"):
        target = "chip-schema"
    elif included.endswith(".pb.h"):
        target = "schema"
    elif "/" in included:
        target = included.rsplit("/", 1)[0]
    elif included in ("pb.h", "pb_encode.h", "pb_decode.h", "pb_common.h"):
        target = "chip-schema"
    else:
        return f'{path}: "{included}" is not named from the root'
    if within(target, {own} | table[own]) is not None:
        return None
    return f"{path}: {own} may not include {target} ({included})"


class TidyTest(unittest.TestCase):
    maxDiff = None

    def none(self, complaints):
        self.assertEqual([], complaints, "\n" + "\n".join(complaints))

    def test_top_level_is_what_it_is_to_be(self):
        self.assertEqual(TOP_LEVEL, {path.split("/")[0] for path in project_files() if not path.startswith(".")})

    def test_includes_go_one_way(self):
        table = folder_table()
        complaints = []
        for path in files_ending(".h", ".cc", ".c"):
            for included in re.findall(r'^\s*#\s*include\s+"([^"]+)"', text_of(path), re.MULTILINE):
                complaints.append(include_complaint(path, included, table))
        self.none([complaint for complaint in complaints if complaint])

    def test_files_are_short(self):
        long = {path: text_of(path).count("\n") for path in files_ending(".h", ".cc", ".c", ".py", ".sh", ".proto", ".cmake", ".md")}
        self.none([f"{path}: {lines} lines" for path, lines in long.items() if lines > FILE_LINES_MAX])

    def test_functions_fit_a_screen(self):
        complaints = []
        for path in files_ending(".h", ".cc", ".c", ".py"):
            spans = python_functions(text_of(path)) if path.endswith(".py") else cpp_functions(text_of(path))
            complaints += [f"{path}:{first}: {last - first + 1} lines" for first, last in spans
                           if last - first + 1 > FUNCTION_LINES_MAX]
        self.none(complaints)

    def test_every_source_names_its_licence(self):
        kinds = (".h", ".cc", ".c", ".s", ".ld", ".py", ".sh", ".proto", ".textproto", ".cmake", ".css", ".options", ".cir",
                 "CMakeLists.txt", ".ci/run")
        self.none([path for path in files_ending(*kinds) if not any(SPDX in line for line in text_of(path).splitlines()[:2])])

    def test_headers_guard_themselves(self):
        self.none([path for path in files_ending(".h") if "#pragma once" not in text_of(path)])

    def test_no_banned_word(self):
        banned = re.compile("|".join(BANNED))
        complaints = []
        for path in project_files():
            content = (ROOT / path).read_bytes()
            if b"\0" in content:
                continue
            for number, line in enumerate(content.decode("utf-8", "replace").splitlines(), 1):
                found = banned.search(line)
                if found:
                    complaints.append(f"{path}:{number}: {found.group(0)}")
        self.none(complaints)

    def test_every_folder_says_what_lives_there(self):
        folders = set()
        for path in project_files():
            parts = path.split("/")[:-1]
            if not parts or parts[0].startswith("."):
                continue
            folders.add(parts[0])
            if parts[0] in ("firmware", "host", "proto", "tests") and len(parts) > 1:
                folders.add("/".join(parts[:2]))
            if parts[:2] == ["firmware", "board"] and len(parts) > 2:
                folders.add("/".join(parts[:3]))
        present = set(project_files())
        self.none([f"{folder}/README.md is missing" for folder in sorted(folders) if f"{folder}/README.md" not in present])

    def test_folder_readmes_are_short(self):
        readmes = [path for path in files_ending("/README.md")]
        self.none([path for path in readmes if len(text_of(path).splitlines()) > README_LINES_MAX])

    def test_readme_carries_the_caution_word_for_word(self):
        self.assertIn("```\n" + text_of("host/data/texts/caution.txt") + "```\n", text_of("README.md"))

    def test_shell_scripts_are_posix_sh(self):
        for path in files_ending(".sh", ".ci/run"):
            self.assertTrue(text_of(path).startswith("#!/bin/sh\n"), path)
            checked = subprocess.run(["sh", "-n", str(ROOT / path)], capture_output=True, text=True)
            self.assertEqual(0, checked.returncode, checked.stderr)

    def test_clang_format_agrees(self):
        paths = [str(ROOT / path) for path in files_ending(".h", ".cc")]
        checked = subprocess.run(["clang-format-19", "--dry-run", "-Werror", "--ferror-limit=1", *paths],
                                 capture_output=True, text=True)
        self.assertEqual(0, checked.returncode, checked.stderr[-8000:])


if __name__ == "__main__":
    sys.exit(unittest.main())
