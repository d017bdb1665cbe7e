# SPDX-License-Identifier: Apache-2.0
"""The golden bytes, and the worked bytes of wire.md, against the second decoder.

  wire_golden_test.py PROTO_DIR BUILD_DIR PROTOC
"""

import pathlib
import re
import subprocess
import sys
import unittest

import wire_format
import wire_reader

PROTO = pathlib.Path(sys.argv[1])
SCHEMA = pathlib.Path(sys.argv[2]) / "wire_schema"
PROTOC = sys.argv[3]


def golden(name):
    """{name: (given, bytes)} of a golden file."""
    lines = {}
    for line in (PROTO / "golden" / name).read_text().splitlines():
        if line and not line.startswith("#"):
            key, _, given, hexadecimal = (part.strip() for part in line.split("|"))
            lines[key] = (given, bytes.fromhex(hexadecimal))
    return lines


def number(given, key):
    return int(re.search(rf"\b{key}=(\w+)", given).group(1), 0)


def recipe_codes(given, count):
    """Codes scan by scan, after the README of the golden bytes."""
    busy = "recipe=busy" in given
    x = 1
    scans = []
    for s in range(count):
        codes = []
        for c in range(24):
            x = (1664525 * x + 1013904223) % 2**32
            r = x // 65536
            code = 1000 * c - 12000 + r % 4
            if busy:
                code = 1000 * c - 12000 + 40 * (c % 5) * (s // 300 % 3) + r % 64
                if c == 16 and r % 200 == 0:
                    code -= 9000
                if c == 22:
                    code = r - 32768
                if c == 23:
                    code = 32767 if s // 16 % 2 == 0 else -32768
            codes.append(code)
        scans.append(codes)
    return scans


class GoldenTest(unittest.TestCase):
    def test_stuffing(self):
        for name in ("cobs.hex", "cobs_accepted.hex"):
            for key, (given, stuffed) in golden(name).items():
                self.assertEqual(wire_format.unstuff(stuffed), bytes.fromhex(given), key)

    def test_checksums(self):
        for key, (given, check) in golden("crc32c.hex").items():
            self.assertEqual(wire_format.crc32c(bytes.fromhex(given)).to_bytes(4, "little"), check, key)

    def test_window_bodies(self):
        seen = set()
        for key, (given, body) in golden("bodies.hex").items():
            if not given.startswith("windows "):
                continue
            scans, count = number(given, "scans_per_window"), number(given, "window_count")
            codes = recipe_codes(given, scans * count)
            channels, forms = wire_format.unpack_windows(body, scans, count)
            seen |= forms
            for channel in range(24):
                for k, window in enumerate(channels[channel]):
                    part = [scan[channel] for scan in codes[k * scans : (k + 1) * scans]]
                    with self.subTest(body=key, channel=channel, window=k):
                        self.check_window(window, part, channel)
        self.assertEqual(seen, {"plain", "exceptions"})

    def check_window(self, window, codes, channel):
        least, mean, most, variance, below, above = window
        count = len(codes)
        self.assertEqual((least, most), (min(codes), max(codes)))
        self.assertEqual(mean, (8 * 2 * sum(codes) + count) // (2 * count))  # halves upward
        true = sum(code * code for code in codes) / count - (sum(codes) / count) ** 2
        self.assertLessEqual(abs(variance - true), max(true / 16, 1 / 64))
        self.assertEqual(below, sum(channel == 16 and code < 2000 for code in codes))
        self.assertEqual(above, sum(channel == 3 and code > -8940 for code in codes))

    def test_capture_bodies(self):
        seen = set()
        for key, (given, body) in golden("bodies.hex").items():
            if not given.startswith("capture "):
                continue
            first, count = number(given, "first_scan"), number(given, "scan_count")
            indices = [c for c in range(24) if number(given, "channel_mask") >> c & 1]
            codes = recipe_codes(given, first + count)[first:]
            channels, forms = wire_format.unpack_capture(body, len(indices), count)
            seen |= forms
            self.assertEqual(channels, [[scan[c] for scan in codes] for c in indices], key)
        self.assertLessEqual({"distances", "steps"}, seen)

    def test_frames(self):
        from google.protobuf import text_format
        import link_pb2
        import recording_pb2

        bodies = golden("bodies.hex")
        for name, kind in (("frames.hex", link_pb2.JigToHost), ("commands.hex", link_pb2.HostToJig),
                           ("notes.hex", recording_pb2.RecordedNote)):
            for key, (given, frame) in golden(name).items():
                expected = text_format.Parse(given, kind())
                if name == "frames.hex" and key in bodies:
                    expected.body = bodies[key][1]
                self.assertEqual(frame[-1], 0, key)
                self.assertEqual(kind.FromString(wire_format.unframe(frame[:-1])), expected, key)

    def test_damage_is_refused(self):
        frame = golden("frames.hex")["windows-cut"][1][:-1]
        for bit in range(0, 8 * len(frame), 7):
            damaged = bytearray(frame)
            damaged[bit // 8] ^= 1 << bit % 8
            with self.assertRaises(wire_format.Damaged):
                wire_format.unframe(bytes(damaged))
        body = golden("bodies.hex")["windows-cut"][1]
        for cut in range(len(body)):
            with self.assertRaises(wire_format.Damaged):
                wire_format.unpack_windows(body[:cut], 32, 5)


class StreamTest(unittest.TestCase):
    """All golden frames one after the other, as a recording and as a line joined half-way."""

    def setUp(self):
        import link_pb2
        import recording_pb2

        self.line = wire_reader.Line(link_pb2, recording_pb2)
        frames = golden("frames.hex")
        notes = golden("notes.hex")
        self.count = len(frames) + 2
        self.stream = (notes["header"][1] + b"".join(frame for _, frame in frames.values()) + notes["closing"][1])

    def test_recording(self):
        messages = list(self.line.messages(self.stream, True))
        self.assertEqual(len(messages), self.count)
        self.assertEqual((self.line.damaged, self.line.bytes_discarded), (0, 0))
        # Golden sequences run 1, 2, 3, 4, 300, ... 317, 0.
        self.assertEqual(self.line.sequence_gaps, 2)
        rows = [row for m in messages if m.DESCRIPTOR.name == "JigToHost" and m.HasField("windows")
                for row in wire_reader.windows_of(m)]
        self.assertEqual(len(rows), 24 * (32 + 32 + 4 + 1 + 5))

    def test_joined_line(self):
        list(self.line.messages(self.stream[3:], False))
        self.assertEqual((self.line.frames, self.line.damaged), (self.count - 1, 0))

    def test_cut_line(self):
        list(self.line.messages(self.stream[:-3], True))
        self.assertEqual((self.line.frames, self.line.damaged), (self.count - 1, 0))
        self.assertGreater(self.line.bytes_discarded, 0)


class WireTextTest(unittest.TestCase):
    """wire.md quotes golden bytes as `file/name` and `HEX` on one line; ... follows where they are cut short."""

    def test_worked_bytes(self):
        text = (PROTO / "wire.md").read_text()
        quotes = re.findall(r"`(\w+)/([\w-]+)`[^`\n]*`((?:[0-9A-F]{2} )*[0-9A-F]{2})`( \.\.\.)?", text)
        self.assertGreater(len(quotes), 15)
        for name, key, hexadecimal, cut in quotes:
            expected = golden(name + ".hex")[key][1]
            quoted = bytes.fromhex(hexadecimal)
            self.assertEqual(quoted, expected[: len(quoted)] if cut else expected, f"{name}/{key}")

    def test_unmasked_body(self):
        """The column-by-column reading of windows-cut: bytes, widths, references and values as the text has them."""
        text = (PROTO / "wire.md").read_text()
        columns = re.findall(r"^ {4}((?:[0-9A-F]{2} )+) +<- (.*)$", text, re.MULTILINE)
        self.assertEqual(len(columns), 6)
        body = bytes(byte ^ 0xA5 for byte in golden("bodies.hex")["windows-cut"][1])
        joined = b"".join(bytes.fromhex(column) for column, _ in columns)
        self.assertEqual(joined, body[: len(joined)])
        for (column, words), reference_bytes in zip(columns[2:], (3, 0, 0, 2)):
            reader = wire_format.Body(bytes(byte ^ 0xA5 for byte in bytes.fromhex(column)))
            width, exceptions = reader.head()
            self.assertIn(f"width {width};" if reference_bytes == 0 else f"width {width}, ", words)
            if reference_bytes:
                self.assertIn(f"reference {reader.number(reference_bytes, True):,}", words)
            values = ", ".join(str(value) for value in reader.values(width, exceptions, 5))
            self.assertTrue(words.endswith(f"values {values}"), words)
            reader.end()

    def test_every_enumeration_is_explained(self):
        """Refusals, safety causes and log codes: every value of the schema and the firmware stands in the text."""
        import link_pb2

        text = (PROTO / "wire.md").read_text()
        for enumeration in (link_pb2.Refusal, link_pb2.SafetyCause, link_pb2.ResetCause):
            for name, value in enumeration.items():
                if value != 0:
                    self.assertIn(f"`{name}`", text)
        for source in (PROTO.parent / "firmware").rglob("*.h"):
            for name, value in re.findall(r"constexpr std::uint32_t (kLog\w+) = (\d+);", source.read_text()):
                self.assertRegex(text, rf"\| {value} \| `{name}`")


if __name__ == "__main__":
    SCHEMA.mkdir(parents=True, exist_ok=True)
    files = sorted(str(path) for path in PROTO.glob("*.proto"))
    subprocess.run([PROTOC, f"-I{PROTO}", f"--python_out={SCHEMA}", *files], check=True)
    sys.path.insert(0, str(SCHEMA))
    unittest.main(argv=sys.argv[:1])
