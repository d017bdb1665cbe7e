# SPDX-License-Identifier: Apache-2.0
"""Recordings that no sound jig wrote, through `review`: told with the reason, never a pass, never a crash.

  bad_recordings_test.py PROGRAM SCHEMA_DIR PROTO_DIR PROTOC

One short rehearsal is taken apart by the second decoder and put together again, with one thing wrong at a time.
"""
import os
import pathlib
import subprocess
import sys
import unittest

SCHEMA, PROTO, PROTOC = sys.argv[2:5]
del sys.argv[2:5]

sys.path.insert(0, os.path.join(os.path.dirname(__file__), "../../../reference"))
import wire_format  # noqa: E402
import wire_reader  # noqa: E402
from command_line import Workspace, content, run  # noqa: E402

NAN, INFINITE = float("nan"), float("inf")
SCANS_PER_S = 32000


def modules():
    pathlib.Path(SCHEMA).mkdir(parents=True, exist_ok=True)
    subprocess.run([PROTOC, f"-I{PROTO}", f"--python_out={SCHEMA}", *map(str, pathlib.Path(PROTO).glob("*.proto"))],
                   check=True)
    sys.path.insert(0, SCHEMA)
    import link_pb2
    import recording_pb2
    return link_pb2, recording_pb2


LINK, RECORDING = modules()


def framed(message):
    """COBS(payload + CRC-32C) and the delimiter; proto/wire.md."""
    payload = message.SerializeToString()
    left = payload + wire_format.crc32c(payload).to_bytes(4, "little")
    out, run_bytes = bytearray(), bytearray()
    for index, byte in enumerate(left):
        if byte != 0:
            run_bytes.append(byte)
        if byte == 0 or len(run_bytes) == 254:
            out.append(len(run_bytes) + 1)
            out += run_bytes
            full = byte != 0
            run_bytes.clear()
            if full and index + 1 == len(left):
                return bytes(out) + b"\0"
    return bytes(out) + bytes([len(run_bytes) + 1]) + bytes(run_bytes) + b"\0"


class BadRecordings(Workspace):
    def messages(self):
        line = wire_reader.Line(LINK, RECORDING)
        return list(line.messages(content(self.recording), True))

    def review(self, messages):
        for sequence, message in enumerate(m for m in messages if isinstance(m, LINK.JigToHost)):
            message.sequence = sequence
        with open(self.path("bad.steadyrail"), "wb") as file:
            for message in messages:
                file.write(framed(message))
        pathlib.Path(self.path("bad.json")).unlink(missing_ok=True)
        call = run("review", self.path("bad.steadyrail"), "--limits", "atx-3.0", "--json", self.path("bad.json"))
        self.assertGreaterEqual(call.returncode, 0, call.stderr)  # a signal would be below
        return call

    def bad(self):
        return self.result("bad.json")

    def assert_no_pass(self, call, *reasons):
        """Open, and why; nothing passes."""
        self.assertEqual(call.returncode, 4, call.stdout + call.stderr)
        decisions = {verdict["decision"] for verdict in self.bad()["verdicts"]}
        self.assertNotIn("pass", decisions)
        self.assertNotIn("fail", decisions)
        for reason in reasons:
            self.assertIn(reason, call.stdout)

    def header(self, messages):
        return next(m.note.header for m in messages if isinstance(m, RECORDING.RecordedNote) and m.note.HasField("header"))

    def test_put_together_again_it_is_the_same_session(self):
        self.review(self.messages())
        again = self.bad()
        call = run("review", self.recording, "--limits", "atx-3.0", "--json", self.path("good.json"))
        self.assertIn(call.returncode, (0, 1, 4))
        good = self.result("good.json")
        self.assertEqual(again["verdicts"], good["verdicts"])
        self.assertEqual(again["eventCounts"], good["eventCounts"])

    def test_no_bytes_at_all(self):
        with open(self.path("nothing.steadyrail"), "wb"):
            pass
        call = run("review", self.path("nothing.steadyrail"), "--limits", "atx-3.0")
        self.assertEqual(call.returncode, 2)
        self.assertIn("nothing.steadyrail", call.stderr)

    def test_session_of_no_length(self):
        kept = [m for m in self.messages() if isinstance(m, RECORDING.RecordedNote) or m.HasField("hello")]
        self.assert_no_pass(self.review(kept), "no scan was seen")
        self.assertEqual(self.bad()["coverage"]["scansSeen"], 0)

    def test_session_that_is_one_gap(self):
        kept = [m for m in self.messages() if not (isinstance(m, LINK.JigToHost) and m.HasField("windows"))]
        self.assert_no_pass(self.review(kept))
        self.assertEqual(self.bad()["coverage"]["scansSeen"], 0)

    def test_figures_of_the_jig_that_are_none(self):
        for field, value in [("unit_per_code", NAN), ("unit_per_code", INFINITE), ("unit_at_code_0", NAN),
                             ("noise_code_rms", INFINITE), ("unit_per_code", 0.0)]:
            messages = self.messages()
            setattr(self.header(messages).jig.channels[0], field, value)
            call = self.review(messages)
            self.assertIn(call.returncode, (2, 4), f"{field} {value}: {call.stdout}")
            self.assertRegex(call.stdout + call.stderr, f"{field}|noise of channel main-12v", f"{field} {value}")
            if call.returncode == 4:
                self.assert_no_pass(call, "does not describe a jig that can be used")

    def test_calibration_that_is_none(self):
        for field, value in [("gain", NAN), ("gain", 0.0), ("offset", INFINITE), ("u_other", NAN), ("u_other", -1.0)]:
            messages = self.messages()
            setattr(self.header(messages).jig.calibration.channels[0], field, value)
            call = self.review(messages)
            self.assertIn(call.returncode, (2, 4), f"{field} {value}: {call.stdout}")
            self.assertIn(field, call.stdout + call.stderr, f"{field} {value}")

    def test_label_of_no_number(self):
        for value in (NAN, INFINITE, -5.0):
            messages = self.messages()
            header = self.header(messages)
            if not header.unit.rails:
                header.unit.rails.add(rail=1)
            header.unit.rails[0].amps = value
            header.unit.total_w = value
            call = self.review(messages)
            self.assertIn(call.returncode, (1, 2, 4), f"{value}: {call.stderr}")
            if call.returncode != 2:
                within = {v["withinRating"] for v in self.bad()["verdicts"] if v["rail"] == "+12V"}
                self.assertLessEqual(within, {"unknown"}, f"{value}")

    def test_scans_that_jump_ahead_are_a_gap(self):
        messages = self.messages()
        hours = 10 * 3600 * SCANS_PER_S
        windows = [m for m in messages if isinstance(m, LINK.JigToHost) and m.HasField("windows")]
        for message in windows[len(windows) // 2 :]:
            message.windows.first_scan += hours
        call = self.review(messages)
        self.assertIn(call.returncode, (1, 4), call.stderr)
        coverage = self.bad()["coverage"]
        self.assertGreater(coverage["scansExpected"], hours)
        self.assertLess(coverage["scansSeen"], 10 * SCANS_PER_S)
        self.assertNotEqual(coverage["gaps"], [])
        self.assertNotIn("pass", {v["decision"] for v in self.bad()["verdicts"] if v["quantity"] in ("static", "dynamic")})

    def test_scans_that_go_back_are_left_out(self):
        messages = self.messages()
        windows = [m for m in messages if isinstance(m, LINK.JigToHost) and m.HasField("windows")]
        back = windows[len(windows) // 2].windows.first_scan
        for message in windows[len(windows) // 2 :]:
            message.windows.first_scan -= back
        call = self.review(messages)
        self.assertIn(call.returncode, (1, 4), call.stderr)
        coverage = self.bad()["coverage"]
        self.assertLessEqual(coverage["scansSeen"], coverage["scansExpected"])

    def test_clock_of_the_host_that_jumps(self):
        for seconds in (-3600, 3600):
            messages = self.messages()
            received = [m.note.received for m in messages
                        if isinstance(m, RECORDING.RecordedNote) and m.note.HasField("received")]
            self.assertGreater(len(received), 4)
            for note in received[len(received) // 2 :]:
                for field, value in note.ListFields():
                    if field.name.endswith("us") and value > 3_600_000_000:
                        setattr(note, field.name, value + seconds * 1_000_000)
            call = self.review(messages)
            self.assertIn(call.returncode, (0, 1, 4), call.stderr)
            session = self.bad()["session"]
            self.assertAlmostEqual(session["durationS"], 6, delta=0.1)

    def test_limits_that_are_none(self):
        good = run("limits", "atx-3.0", "--json")
        self.assertEqual(good.returncode, 0)
        text = content(os.path.join(os.path.dirname(__file__), "../../../../host/data/limits/atx-3.0.textproto")).decode()
        for wrong in [("least_uv: 11200000", "least_uv: 9223372036854775807"), ("most_uv: 12600000", "most_uv: 0"),
                      ("from_share: 0.10", "from_share: nan"), ("scans_share: 0.999", "scans_share: nan"),
                      ("settled_mean_s: 60", "settled_mean_s: inf"), ("percent_small: 150", "percent_small: nan"),
                      ("step_percent: 30", "step_percent: -inf"), ("most_uv: 120000", "most_uv: -120000")]:
            self.assertIn(wrong[0], text)
            with open(self.path("wrong.textproto"), "w", encoding="utf-8") as file:
                file.write(text.replace(*wrong, 1))
            call = run("review", self.recording, "--limits", self.path("wrong.textproto"))
            self.assertEqual(call.returncode, 2, wrong)
            self.assertRegex(call.stderr, r"wrong\.textproto:\d+:\d+", wrong)


if __name__ == "__main__":
    unittest.main(verbosity=2)
