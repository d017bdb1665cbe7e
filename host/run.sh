#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# The main job without hardware: installs what is missing, builds, rehearses a session on the virtual jig against the
# simulated supply, and prints where the report is. `sh host/run.sh [SCENARIO]`, loose-connector when none is named.
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
scenario=${1:-loose-connector}
out=$root/.build/rehearsal

sh "$root/host/build.sh" steadyrail steadyrail-virtual-jig
mkdir -p "$out"
recording=$out/$scenario.steadyrail
report=$out/$scenario.html
result=$out/$scenario.json
rm -f "$recording" "$report" "$result"

status=0
"$root/.build/release/bin/steadyrail" rehearse --scenario "$scenario" --seed 1 --for 20s --pace free --unit u-1 \
  --limits atx-3.0 --out "$recording" --report "$report" --json "$result" || status=$?
# 0 all pass, 1 something failed, 4 something undecided: the job is done. Anything else: it could not be.
case $status in
  0 | 1 | 4) ;;
  *) exit "$status" ;;
esac
for file in "$recording" "$report" "$result"; do
  [ -s "$file" ] || {
    printf 'run: the rehearsal ended with %s but left no %s\n' "$status" "$file" >&2
    exit 3
  }
done
printf '\nrecording  %s\nresult     %s\nreport     %s\n' "$recording" "$result" "$report"
