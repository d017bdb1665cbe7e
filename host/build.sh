#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Installs what is missing, configures a release build in .build/release and builds the targets named, or everything.
# `sh host/build.sh [--tests] [TARGET...]`: --tests configures and builds with the tests. Messages go to stderr.
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
build=$root/.build/release

tests=
if [ "${1:-}" = --tests ]; then
  tests=--tests
  shift
fi
nanopb=$(sh "$root/host/setup.sh" $tests)

set_options="-DCMAKE_BUILD_TYPE=Release"
if command -v ccache >/dev/null 2>&1; then
  set_options="$set_options -DCMAKE_CXX_COMPILER_LAUNCHER=ccache -DCMAKE_C_COMPILER_LAUNCHER=ccache"
fi
if [ -n "$tests" ]; then
  set_options="$set_options -DSTEADYRAIL_TESTS=ON"
elif [ ! -f "$build/CMakeCache.txt" ]; then
  set_options="$set_options -DSTEADYRAIL_TESTS=OFF"  # a tree configured for the tests stays so
fi
cmake -S "$root" -B "$build" -G Ninja "-DNANOPB_DIR=$nanopb" $set_options >&2

# A compiler here takes up to 700 MB: no more of them at once than cores, nor than memory carries.
cores=$(nproc)
jobs=$(awk -v cores="$cores" '/^MemAvailable:/ { fit = int($2 / 716800); n = fit < cores ? fit : cores; print n < 1 ? 1 : n }' \
  /proc/meminfo)
ninja -C "$build" -j "${jobs:-1}" "$@" >&2
