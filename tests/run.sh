#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Installs what is missing, builds, runs every test. `--all` adds the long ones (label "long").
# The last line is "N passed, N failed"; the exit code is 0 only when nothing failed.
set -u

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
build=$root/.build/release

give_up() {
  printf 'tests: %s\n0 passed, 1 failed\n' "$*"
  exit 1
}

long=no
case "${1:-}" in
  "") ;;
  --all) long=yes ;;
  *) give_up "unknown option $1; there is --all" ;;
esac

sh "$root/host/build.sh" --tests || give_up "setting up, configuring or building did not succeed (see above)"

set -- --test-dir "$build" -j 2 --output-on-failure --no-tests=error --output-junit "$build/tests.xml"
[ "$long" = yes ] || set -- "$@" -LE '^long$'
rm -f "$build/tests.xml"
ctest "$@"
/usr/bin/python3 "$root/tests/tally.py" "$build/tests.xml" "$?"
