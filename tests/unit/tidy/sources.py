# SPDX-License-Identifier: Apache-2.0
"""The project's files, and C++ text without what a brace counter must not see."""
import os
import pathlib
import re
import subprocess

ROOT = pathlib.Path(__file__).resolve().parents[3]


def project_files():
    """Paths relative to the root: tracked, or new and not ignored. Without git: everything outside hidden folders."""
    try:
        listed = subprocess.run(
            ["git", "-C", str(ROOT), "-c", "safe.directory=*", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
            check=True, capture_output=True).stdout.decode()
        paths = [path for path in listed.split("\0") if path and (ROOT / path).is_file()]
    except (OSError, subprocess.CalledProcessError):
        paths = []
        for folder, folders, names in os.walk(ROOT):
            folders[:] = [name for name in folders if not name.startswith(".")]
            paths += [str((pathlib.Path(folder) / name).relative_to(ROOT)) for name in names]
    return sorted(set(paths))


def files_ending(*suffixes):
    return [path for path in project_files() if path.endswith(suffixes)]


def text_of(path):
    return (ROOT / path).read_text(encoding="utf-8")


_NOISE = re.compile(
    r'R"(?P<mark>[^()\\\s]*)\(.*?\)(?P=mark)"'  # raw string
    r'|//[^\n]*|/\*.*?\*/'
    r'|"(?:\\.|[^"\\\n])*"'
    r"|(?<![0-9A-Fa-f])'(?:\\.|[^'\\\n])+'"  # a character, not the mark inside 1'000
    r"|^[ \t]*#(?:[^\n]*\\\n)*[^\n]*",  # a preprocessor line with its continuations
    re.DOTALL | re.MULTILINE)


def code_only(text):
    """`text` with comments, literals and preprocessor lines emptied; line numbers stay."""
    return _NOISE.sub(lambda match: "\n" * match.group(0).count("\n"), text)
