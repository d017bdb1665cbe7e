# SPDX-License-Identifier: Apache-2.0
"""Prints what a recording, or the raw bytes of the line, says: a second decoder, from proto/wire.md and the schema alone.

  wire_reader.py --schema DIR RECORDING             JSON lines, one a frame
  wire_reader.py --schema DIR --windows RECORDING   CSV of the windows
  wire_reader.py --schema DIR --captures RECORDING  CSV of the captures
DIR holds link_pb2.py and recording_pb2.py (protoc --python_out).
"""

import argparse
import csv
import json
import sys

import wire_format

NOTE_FIRST_BYTE = 0x6A


class Line:
    """Frames out of bytes, with everything that is not one counted."""

    def __init__(self, link, recording):
        self.link = link
        self.recording = recording
        self.frames = 0
        self.damaged = 0
        self.bytes_discarded = 0
        self.sequence_gaps = 0
        self._last = None

    def messages(self, data, from_start):
        """Messages in order. `from_start`: the bytes begin with a frame (a recording), not in the middle of one."""
        parts = data.split(b"\0")
        if not from_start:
            parts[0] = b""
        if parts[-1]:
            self.bytes_discarded += len(parts[-1])
        for part in parts[:-1]:
            if not part:
                continue
            try:
                yield self._message(wire_format.unframe(part))
                self.frames += 1
            except (wire_format.Damaged, ValueError):
                self.damaged += 1
                self.bytes_discarded += len(part) + 1

    def _message(self, payload):
        note = payload[:1] == bytes([NOTE_FIRST_BYTE])
        message = self.recording.RecordedNote() if note else self.link.JigToHost()
        try:
            message.ParseFromString(payload)
        except Exception as error:  # the module's own DecodeError
            raise ValueError(str(error)) from error
        if not note:
            here = (message.boot, message.sequence)
            if self._last and (here[0] != self._last[0] or here[1] != (self._last[1] + 1) % 2**32):
                self.sequence_gaps += 1
            self._last = here
        return message


def windows_of(message):
    """Rows (first_scan, scans, channel, min, mean, max, variance, below, above, armed_set)."""
    block = message.windows
    channels, _ = wire_format.unpack_windows(message.body, block.scans_per_window, block.window_count)
    for k in range(block.window_count):
        first = block.first_scan + k * block.scans_per_window
        for channel, windows in enumerate(channels):
            least, mean, most, variance, below, above = windows[k]
            yield (first, block.scans_per_window, channel, least, mean / 8, most, variance, below, above,
                   block.armed_set)


def captures_of(message):
    """Rows (capture, scan, channel, code)."""
    block = message.capture
    indices = [channel for channel in range(wire_format.CHANNELS) if block.channel_mask >> channel & 1]
    channels, _ = wire_format.unpack_capture(message.body, len(indices), block.scan_count)
    for channel, codes in zip(indices, channels):
        for k, code in enumerate(codes):
            yield block.capture, block.first_scan + k, channel, code


def ramps_of(message):
    """Rows (ramp, first scan of the point, scans of it, channel, least code, greatest code)."""
    block = message.ramp
    indices = [channel for channel in range(wire_format.CHANNELS) if block.channel_mask >> channel & 1]
    columns, _ = wire_format.unpack_capture(message.body, 2 * len(indices), block.point_count)
    for place, channel in enumerate(indices):
        for k, (least, most) in enumerate(zip(columns[2 * place], columns[2 * place + 1])):
            yield (block.ramp, block.first_scan + k * block.scans_per_point, block.scans_per_point, channel, least, most)


def scales(description):
    """{channel index: (name, unit letter, per_code, at_code_0)} with the calibration in it."""
    calibration = {entry.channel: entry for entry in description.calibration.channels}
    result = {}
    for channel in description.channels:
        entry = calibration.get(channel.name)
        gain, offset = (entry.gain, entry.offset) if entry else (1.0, 0.0)
        unit = "a" if channel.kind == 2 else "v"  # CHANNEL_KIND_CURRENT
        result[channel.index] = (channel.name, unit, gain * channel.unit_per_code,
                                 gain * channel.unit_at_code_0 + offset)
    return result


WINDOW_COLUMNS = ("first_scan", "scans", "channel", "min_code", "mean_code", "max_code", "variance_code2",
                  "scans_below", "scans_above", "armed_set")
CAPTURE_COLUMNS = ("capture", "scan", "channel", "code")


def as_json(message):
    from google.protobuf import json_format
    fields = json_format.MessageToDict(message, preserving_proto_field_name=True)
    if "body" in fields:
        fields["body"] = len(message.body)
    return json.dumps(fields)


def print_all(line, messages, kind):
    writer = csv.writer(sys.stdout)
    if kind:
        writer.writerow(WINDOW_COLUMNS if kind == "windows" else CAPTURE_COLUMNS)
    for message in messages:
        if not kind:
            print(as_json(message))
        elif message.DESCRIPTOR.name == "JigToHost" and message.WhichOneof("content") == kind:
            writer.writerows(windows_of(message) if kind == "windows" else captures_of(message))
    print(f"{line.frames} frames, {line.damaged} damaged, {line.bytes_discarded} bytes discarded, "
          f"{line.sequence_gaps} sequence gaps", file=sys.stderr)


def main():
    parser = argparse.ArgumentParser(description="Prints what a recording or the raw bytes of the line say.")
    parser.add_argument("--schema", required=True, help="folder of link_pb2.py and recording_pb2.py")
    parser.add_argument("--windows", action="store_const", const="windows", dest="kind", help="CSV of the windows")
    parser.add_argument("--captures", action="store_const", const="capture", dest="kind", help="CSV of the captures")
    parser.add_argument("--joined", action="store_true", help="the bytes begin in the middle of a frame")
    parser.add_argument("file")
    arguments = parser.parse_args()
    sys.path.insert(0, arguments.schema)
    import link_pb2
    import recording_pb2
    line = Line(link_pb2, recording_pb2)
    with open(arguments.file, "rb") as source:
        print_all(line, line.messages(source.read(), not arguments.joined), arguments.kind)


if __name__ == "__main__":
    main()
