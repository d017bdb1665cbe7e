#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# The trial of the whole: simulated sessions of every kind through the code that judges recordings, as a confusion
# matrix with rates and goals. Options go on to the program (`--help`); built first, into the folder of the tests.
# Exit code: 0 no goal is missed, 1 one is, 2 wrong use, 3 it could not be built.
set -u

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
sh "$root/host/build.sh" --tests >&2 || exit 3
exec "$root/.build/release/bin/steadyrail-trial" "$@"
