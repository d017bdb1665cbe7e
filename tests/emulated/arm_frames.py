# SPDX-License-Identifier: Apache-2.0
"""What the image for the chip said, read by the second decoder, and computed again from its scans by NumPy.

  arm_frames.py FOLDER PROTO_DIR PROTOC

FOLDER holds scans.bin (blocks of proto/wire/scan_stream.h) and frames.bin. Every frame is read. Windows: least, greatest and
mean code (to 1/8 code) of every tenth block. Captures: every code of every tenth frame. Ramps: every point of every frame.
"""
import pathlib
import struct
import subprocess
import sys

import numpy

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "reference"))
import wire_reader  # noqa: E402

FOLDER, PROTO, PROTOC = (pathlib.Path(argument) for argument in sys.argv[1:4])
HEADER = struct.Struct("<IIQII")
SCANS, CHANNELS, EDGE_BYTES = 32, 24, 12
EVERY = 10
RAMP_POINTS = 8 * 4800  # 1.2 s of 8 channels at 4,000 points a second


def read_scans():
    """Codes by scan and channel; a session without gaps, so that the row is the scan."""
    data = (FOLDER / "scans.bin").read_bytes()
    blocks = []
    at = 0
    while at < len(data):
        _, edges, first_scan, _, lost = HEADER.unpack_from(data, at)
        if lost or first_scan != SCANS * len(blocks):
            sys.exit(f"the scans jump at {first_scan}")
        blocks.append(numpy.frombuffer(data, "<i2", SCANS * CHANNELS, at + HEADER.size))
        at += HEADER.size + 2 * SCANS * CHANNELS + edges * EDGE_BYTES
    return numpy.concatenate(blocks).reshape(-1, CHANNELS).astype(numpy.int64)


def check_windows(message, scans):
    rows = list(wire_reader.windows_of(message))
    for first, length, channel, least, mean, most, _, _, _, _ in rows:
        codes = scans[first:first + length, channel]
        if (least, most) != (codes.min(), codes.max()) or abs(mean - codes.mean()) > 0.5 / 8 + 1e-9:
            sys.exit(f"scan {first}, channel {channel}: {(least, mean, most)} sent, "
                     f"{(codes.min(), codes.mean(), codes.max())} computed")
    return len(rows)


def check_capture(message, scans):
    rows = list(wire_reader.captures_of(message))
    for _, scan, channel, code in rows:
        if code != scans[scan, channel]:
            sys.exit(f"scan {scan}, channel {channel}: code {code} captured, {scans[scan, channel]} acquired")
    return len(rows)


def check_ramp(message, scans):
    rows = list(wire_reader.ramps_of(message))
    for _, first, length, channel, least, most in rows:
        codes = scans[first:first + length, channel]
        if (least, most) != (codes.min(), codes.max()):
            sys.exit(f"scan {first}, channel {channel}: {(least, most)} in the ramp, {(codes.min(), codes.max())} computed")
    return len(rows)


def main():
    schema = FOLDER / "schema"
    schema.mkdir(exist_ok=True)
    files = sorted(str(path) for path in PROTO.glob("*.proto"))
    subprocess.run([str(PROTOC), f"-I{PROTO}", f"--python_out={schema}", *files], check=True)
    sys.path.insert(0, str(schema))
    import link_pb2
    import recording_pb2

    scans = read_scans()
    line = wire_reader.Line(link_pb2, recording_pb2)
    seen = windows = codes = points = 0
    for message in line.messages((FOLDER / "frames.bin").read_bytes(), True):
        seen += 1
        if seen % EVERY == 0 and message.HasField("windows"):
            windows += check_windows(message, scans)
        if seen % EVERY == 0 and message.HasField("capture"):
            codes += check_capture(message, scans)
        if message.HasField("ramp"):
            points += check_ramp(message, scans)
    if line.damaged or line.bytes_discarded or line.sequence_gaps:
        sys.exit(f"{line.damaged} damaged, {line.bytes_discarded} bytes discarded, {line.sequence_gaps} sequence gaps")
    # Whole ramps: with a point less a frame of one is missing.
    if windows == 0 or codes == 0 or points % RAMP_POINTS:
        sys.exit(f"{windows} windows, {codes} captured codes and {points} ramp points were compared")
    print(f"second decoder: {seen} frames read, none damaged or missing; {windows} windows, {codes} captured codes and "
          f"{points} ramp points equal to NumPy's from the scans")


if __name__ == "__main__":
    main()
