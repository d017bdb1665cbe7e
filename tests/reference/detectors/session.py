# SPDX-License-Identifier: Apache-2.0
"""A recording as arrays, by the second decoder alone: windows, captures, what the chip told, and the description."""

import pathlib
import sys

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent))
import wire_format
import wire_reader

MIN, MEAN_8, MAX, VARIANCE, BELOW, ABOVE = range(6)


class Session:
    """Codes throughout; volts(channel, code) makes them a figure at the connector."""

    def __init__(self, path):
        import link_pb2
        import recording_pb2

        self.line = wire_reader.Line(link_pb2, recording_pb2)
        self.header, self.frames = None, 0
        self.first, self.scans = [], []  # of every window
        self.excursions, self.steps, self.settled, self.storms = [], [], [], []
        windows, captures = [], {}
        for message in self.line.messages(pathlib.Path(path).read_bytes(), True):
            if message.DESCRIPTOR.name == "RecordedNote":
                if message.note.HasField("header"):
                    self.header = message.note.header
                continue
            self.frames += 1
            content = message.WhichOneof("content")
            if content == "windows":
                windows.append(self._windows(message))
            elif content == "capture":
                captures.setdefault(message.capture.capture, []).append(message)
            elif content == "event":
                event = message.event
                for kind, kept in (("excursion", self.excursions), ("load_step", self.steps),
                                   ("settled", self.settled), ("storm", self.storms)):
                    if event.HasField(kind):
                        kept.append(getattr(event, kind))
        self.windows = np.concatenate(windows, axis=1)  # channel, window, column
        self.first, self.scans = np.array(self.first), np.array(self.scans)
        self.captures = [self._capture(parts) for parts in captures.values()]
        self.channels = {channel.index: channel for channel in self.header.jig.channels}
        self.index = {channel.name: channel.index for channel in self.header.jig.channels}
        self.scale = wire_reader.scales(self.header.jig)
        self.calibration = {entry.channel: entry for entry in self.header.jig.calibration.channels}

    def _windows(self, message):
        block = message.windows
        channels, _ = wire_format.unpack_windows(message.body, block.scans_per_window, block.window_count)
        self.first += [block.first_scan + k * block.scans_per_window for k in range(block.window_count)]
        self.scans += [block.scans_per_window] * block.window_count
        return np.array(channels)

    def _capture(self, parts):
        """(first scan, {channel: codes}) up to the first hole."""
        first, columns, after = parts[0].capture.first_scan, {}, parts[0].capture.first_scan
        for message in parts:
            block = message.capture
            if block.first_scan != after:
                break
            after += block.scan_count
            for row in wire_reader.captures_of(message):
                columns.setdefault(row[2], []).append(row[3])
        return first, {channel: np.array(codes) for channel, codes in columns.items()}

    def volts(self, channel, code):
        """V or A."""
        _, _, per_code, at_code_0 = self.scale[channel]
        return per_code * code + at_code_0

    def code_at(self, channel, volts):
        """Least code whose figure is at or above this one; scales of rail voltages rise."""
        _, _, per_code, at_code_0 = self.scale[channel]
        return int(np.ceil((round(volts * 1e6) / 1e6 - at_code_0) / per_code))

    def rails(self, rail):
        """Channel indices of the voltages of a rail, by the number it has in jig.proto."""
        return [index for index, channel in self.channels.items() if channel.kind == 1 and channel.rail == rail]
