#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# clang-tidy 19 over the project's own sources, two at a time. `sh tests/tidy.sh BUILD_DIR [FILE...]`; the build folder
# must be built, so that its generated headers are there. Tests are left out: GoogleTest's macros are not ours.
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
build=${1:?usage: sh tests/tidy.sh BUILD_DIR [FILE...]}
shift
[ -f "$build/compile_commands.json" ] || {
  printf 'tidy: %s holds no compile_commands.json\n' "$build" >&2
  exit 2
}
own_sources() {
  /usr/bin/python3 - "$root" "$build/compile_commands.json" <<'PYTHON'
import json
import pathlib
import sys

root = pathlib.Path(sys.argv[1])
files = {pathlib.Path(entry["file"]) for entry in json.load(open(sys.argv[2]))}
tops = [root / top for top in ("proto", "firmware", "host")]
print("\n".join(sorted(str(file) for file in files if file.suffix == ".cc" and any(map(file.is_relative_to, tops)))))
PYTHON
}

if [ "$#" -gt 0 ]; then printf '%s\n' "$@"; else own_sources; fi |
  # What is found stands on stdout; the count of suppressed warnings on stderr is noise. std::ranges::stable_sort of g++
  # 12's library uses what C++17 deprecates.
  xargs -d '\n' -P 2 -n 1 clang-tidy-19 -p "$build" --quiet --extra-arg=-Wno-unknown-warning-option \
    --extra-arg=-Wno-deprecated-declarations 2>/dev/null
