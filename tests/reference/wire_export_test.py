# SPDX-License-Identifier: Apache-2.0
"""A whole rehearsal read twice: the program's own export of windows against the second decoder's reading.

  wire_export_test.py PROGRAM WORK_DIR SCHEMA_DIR PROTO_DIR PROTOC

Values at the connector come from the jig description in the recording: gain x (unit_per_code x code + unit_at_code_0)
+ offset, as jig.proto words it.
"""

import csv
import math
import pathlib
import subprocess
import sys

import wire_reader

PROGRAM, WORK, SCHEMA, PROTO, PROTOC = sys.argv[1:6]
SCANS_PER_SECOND = 32000
WORDS = ("min", "mean", "max", "noise")


def rehearse():
    work = pathlib.Path(WORK)
    work.mkdir(parents=True, exist_ok=True)
    recording = work / "rehearsal.steadyrail"
    windows = work / "windows.csv"
    for left in (recording, windows):
        left.unlink(missing_ok=True)  # the program never writes over a file
    run = subprocess.run([PROGRAM, "rehearse", "--scenario", "loose-connector", "--seed", "7", "--for", "2s", "--pace",
                          "free", "--out", str(recording)], stdout=subprocess.DEVNULL)
    if run.returncode not in (0, 1, 4):
        sys.exit(f"rehearse ended with {run.returncode}")
    subprocess.run([PROGRAM, "export", str(recording), "--windows", str(windows)], check=True,
                   stdout=subprocess.DEVNULL)
    return recording, windows


def read_again(recording):
    """{(channel name, first scan): row} by the second decoder."""
    import link_pb2
    import recording_pb2

    line = wire_reader.Line(link_pb2, recording_pb2)
    rows = {}
    channels = {}
    for message in line.messages(recording.read_bytes(), True):
        if message.DESCRIPTOR.name == "RecordedNote":
            if message.note.HasField("header"):
                channels = wire_reader.scales(message.note.header.jig)
            continue
        if not message.HasField("windows"):
            continue
        for first, scans, channel, least, mean, most, variance, below, above, _ in wire_reader.windows_of(message):
            if channel not in channels:
                continue
            name, unit, per_code, at_code_0 = channels[channel]
            low, high = sorted(per_code * code + at_code_0 for code in (least, most))
            values = (low, per_code * mean + at_code_0, high, abs(per_code) * math.sqrt(variance))
            rows[name, first] = (scans, unit, values, below, above)
    if line.damaged or line.sequence_gaps:
        sys.exit(f"{line.damaged} damaged frames, {line.sequence_gaps} gaps")
    return rows


def compare(exported, rows):
    count = 0
    for row in exported:
        first = round(float(row["start_s"]) * SCANS_PER_SECOND)
        scans, unit, values, below, above = rows.pop((row["channel"], first))
        there = [row[f"{word}_rms_{unit}" if word == "noise" else f"{word}_{unit}"] for word in WORDS]
        for word, own, other in zip(WORDS, values, there):
            if not math.isclose(own, float(other), rel_tol=1e-6, abs_tol=1e-9):
                sys.exit(f"{row['channel']} scan {first}: {word} {own} here, {other} exported")
        if (float(row["length_s"]) * SCANS_PER_SECOND, int(row["scans_below_limit"]),
                int(row["scans_above_limit"])) != (scans, below, above):
            sys.exit(f"{row['channel']} scan {first}: length or counts differ: {row}")
        count += 1
    if rows:
        sys.exit(f"{len(rows)} windows were not exported, the first {next(iter(rows))}")
    return count


def main():
    pathlib.Path(SCHEMA).mkdir(parents=True, exist_ok=True)
    files = sorted(str(path) for path in pathlib.Path(PROTO).glob("*.proto"))
    subprocess.run([PROTOC, f"-I{PROTO}", f"--python_out={SCHEMA}", *files], check=True)
    sys.path.insert(0, SCHEMA)
    recording, windows = rehearse()
    with open(windows, newline="") as source:
        count = compare(csv.DictReader(source), read_again(recording))
    if count < 24 * 1900:
        sys.exit(f"only {count} windows in two seconds of 24 channels")
    print(f"{count} windows read alike")


if __name__ == "__main__":
    main()
