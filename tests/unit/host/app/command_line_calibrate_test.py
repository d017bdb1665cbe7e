# SPDX-License-Identifier: Apache-2.0
"""Calibrating and verifying a jig: the firmware as a process, fed by a bench source of this test that follows the prompts."""
import contextlib
import datetime
import json
import os
import random
import re
import socket
import struct
import subprocess
import threading
import time
import unittest

from command_line import CAUTION, JIG, PATIENCE_S, PROGRAM, ROOT, Workspace, content, run

METER = """id: "M-9" due: "2099-12-31"
ranges { unit: "V" most: 20 share_of_reading: %s fixed: 0.002 distribution: DISTRIBUTION_RECTANGULAR step: 0.0001 }
ranges { unit: "A" share_of_reading: 0.0025 fixed: 0.01 distribution: DISTRIBUTION_RECTANGULAR step: 0.001 }
"""
PROMPT = re.compile(r"\[(\d+) of (\d+)\] ([a-z0-9-]+).*?: (?:set about ([-0-9.e+]+) [VA]|no current)")


class Bench:
    """A jig with scales of its own, and a source that all of its channels look at."""

    BLOCK = struct.Struct("<IIQII")
    OUTPUTS = struct.Struct("<QIII28I3I")
    NOMINAL = {"RAIL_P12V": 12, "RAIL_P5V": 5, "RAIL_P3V3": 3.3, "RAIL_M12V": -12, "RAIL_P5VSB": 5}
    LINES = {"pwr-ok": 5, "ps-on": 0.2}

    def __init__(self, *more):
        self.level = 0.0
        self.chance = random.Random(3)
        self.nominal = False  # every rail at its own voltage, as with a supply that runs
        self.scales = {}
        self.running = {}
        for block in re.findall(r"(?m)^channels \{(.*?)^\}", content(JIG).decode(), re.S):
            field = lambda name: re.search(name + r': "?([^" \n]+)', block).group(1)
            self.scales[int(field("index"))] = (float(field("unit_per_code")), float(field("unit_at_code_0")),
                                                1 + self.chance.gauss(0, 0.003), self.chance.gauss(0, 0.004))
            rail = re.search(r"rail: (\S+)", block)
            volts = self.NOMINAL[rail.group(1)] if "KIND_RAIL_VOLTAGE" in block else self.LINES.get(field("name"), 0)
            self.running[int(field("index"))] = volts
        self.gain = self.scales[0][2]
        self.offset = self.scales[0][3]
        ours, theirs = socket.socketpair()
        announced, announce = os.pipe()
        self.jig = subprocess.Popen([os.path.join(os.path.dirname(PROGRAM), "steadyrail-virtual-jig"), "--scan-fd",
                                     str(theirs.fileno()), "--announce-fd", str(announce), "--line", "wait", *more],
                                    pass_fds=(theirs.fileno(), announce))
        theirs.close()
        os.close(announce)
        self.socket = ours
        self.stop = threading.Event()
        self.feeder = threading.Thread(target=self.feed, daemon=True)
        self.feeder.start()
        with os.fdopen(announced) as pipe:
            self.port = pipe.readline().strip()

    def codes(self):
        """One scan; a dither of a third of a code stands for the noise."""
        row = []
        for index in range(24):
            scale, at_zero, gain, offset = self.scales[index]
            value = self.running[index] if self.nominal else self.level
            code = ((value - offset) / gain - at_zero) / scale + self.chance.gauss(0, 1.3)
            row.append(max(-32768, min(32767, round(code))))
        return row

    def feed(self):
        began = time.monotonic()
        block, level, codes = 0, None, b""
        while not self.stop.is_set():
            if level != self.level or block % 16 == 0:
                level = self.level
                codes = b"".join(struct.pack("<24h", *self.codes()) for _ in range(8)) * 4
            try:
                self.socket.sendall(self.BLOCK.pack(0x53524431, 0, block * 32, 0, 0) + codes)
                if len(self.socket.recv(self.OUTPUTS.size, socket.MSG_WAITALL)) < self.OUTPUTS.size:
                    return
            except OSError:
                return
            block += 1
            # Three times as fast as a real one: much faster, and the host's keep-alives would come too late for it.
            time.sleep(max(0, began + block / 3000 - time.monotonic()))

    def end(self):
        self.stop.set()
        self.feeder.join(timeout=PATIENCE_S)
        self.socket.close()
        self.jig.wait(timeout=PATIENCE_S)


class Calibrations(Workspace):
    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        for name, share in [("good", "0.0005"), ("poor", "0.01")]:
            with open(cls.path(name + ".textproto"), "w", encoding="utf-8") as file:
                file.write(METER % share)

    @contextlib.contextmanager
    def bench(self, *more):
        bench = Bench(*more)
        try:
            yield bench
        finally:
            bench.end()

    def guided(self, bench, *arguments, stop_after=None, error=lambda level: 0.0):
        """The program with a user who sets what it asks for and types what the meter shows; leaves after so many."""
        call = subprocess.Popen([PROGRAM, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                stderr=subprocess.PIPE, text=True, cwd=self.folder)
        said = []
        typed = 0
        for line in call.stderr:
            said.append(line)
            asked = PROMPT.search(line)
            if not asked:
                continue
            if stop_after is not None and typed == stop_after:
                call.stdin.close()
                break
            bench.level = float(asked.group(4) or 0)
            call.stdin.write("%.4f\n" % (bench.level + error(bench.level)))
            call.stdin.flush()
            typed += 1
        rest = call.stderr.read()
        out = call.stdout.read()
        if not call.stdin.closed:
            call.stdin.close()
        return call.wait(timeout=PATIENCE_S), out, "".join(said) + rest

    def calibrate(self, bench, name, **options):
        return self.guided(bench, "calibrate", bench.port, "--meter", "good.textproto", "--channel", "main-12v",
                           "--progress", name + ".textproto", "--json", name + ".json", "--report", name + ".html",
                           **options)

    def test_interrupted_at_each_step_it_ends_as_if_it_had_not_been(self):
        with self.bench() as bench:
            for step in range(14):
                status, _, said = self.calibrate(bench, "steps", stop_after=1)
                if step == 13:
                    break
                self.assertEqual(status, 3, said)
                self.assertIn(f"broken off after {step + 1} of 14 stops", said)
                if step > 0:
                    self.assertIn(f"goes on at stop {step + 1} of 14", said)
            self.assertEqual(status, 0, said)
            self.assertIn(CAUTION.strip(), said)
            certificate = self.result("steps.json")
            self.assertTrue(certificate["simulated"])
            self.assertIn("read back the same", certificate["stored"])
            main = certificate["channels"][0]
            self.assertEqual((main["channel"], main["outcome"], len(main["points"])), ("main-12v", "calibrated", 14))
            self.assertAlmostEqual(main["gain"], bench.gain, delta=5 * main["uGain"] + 2e-5)
            self.assertAlmostEqual(main["offset"], bench.offset, delta=5 * main["uOffset"] + 2e-4)
            others = [channel for channel in certificate["channels"] if channel["channel"] != "main-12v"]
            self.assertTrue(all(c["outcome"] == "uncalibrated" and c["reason"] for c in others))
            page = content(self.path("steps.html")).decode()
            self.assertEqual(page.count("<section"), page.count('<span class="mark">simulated</span>'))
            self.assertIn("Simulated: Certificate of calibration", page)
            self.assertIn(CAUTION.splitlines()[0][:40], page)
            self.use_and_verify(bench, certificate)

    def use_and_verify(self, bench, certificate):
        """The same jig in a watch, under verification, and in a recording that went to another jig or came too late."""
        bench.nominal = True
        recording = self.path("used.steadyrail")
        call = run("watch", bench.port, "--limits", "atx-3.0", "--for", "2s", "--already-checked", "--out", recording,
                   "--json", self.path("used.json"))
        result = self.result("used.json")
        self.assertEqual(result["session"]["calibrationId"], certificate["calibrationId"], call.stderr)
        self.assertEqual(result["session"]["calibrationDoubt"], "")
        self.assertEqual(result["session"]["calibrationDue"], certificate["due"])
        self.assertGreater(result["session"]["boot"], 0)
        self.assertIn("steadyrail-virtual-jig", result["session"]["firmware"])
        bench.nominal = False
        static = [v for v in result["verdicts"] if v["channel"] == "main-12v" and v["quantity"] == "static"][0]
        self.assertAlmostEqual(static["value"], 12.0, delta=2e-3)  # uncorrected it would be tens of millivolts away
        self.assertAlmostEqual(static["expandedUncertainty"], certificate["channels"][0]["expanded"], delta=1e-4)
        self.assertNotIn("not calibrated", static["reason"])
        uncalibrated = [v for v in result["verdicts"] if v["channel"] == "graphics-1" and v["quantity"] == "static"][0]
        self.assertEqual((uncalibrated["decision"], uncalibrated["reason"]), ("undecided", "channel not calibrated"))
        status, out, said = self.guided(bench, "verify", bench.port, "--meter", "good.textproto", "--json", "v.json",
                                        "--report", "v.html")
        self.assertEqual(status, 0, said + out)
        verified = self.result("v.json")
        self.assertEqual(len(verified["points"]), 3)
        for point in verified["points"]:
            by_hand = point["difference"] / (point["expandedJig"] ** 2 + point["expandedReference"] ** 2) ** 0.5
            self.assertAlmostEqual(point["eN"], by_hand, places=9)
            self.assertEqual(point["outcome"], "pass")
        self.assertIn("Simulated: Verification", content(self.path("v.html")).decode())
        self.drift_from_history(bench, verified)
        status, out, _ = self.guided(bench, "verify", bench.port, "--meter", "good.textproto", error=lambda v: 0.05)
        self.assertEqual(status, 1, out)
        self.assertIn("fail", out)

    def drift_from_history(self, bench, verified):
        """Two earlier verifications that drifted by 2 mV a month: the line is due before the calendar."""
        calibrated = datetime.date.fromisoformat(verified["calibrated"])
        files = []
        for months in (1, 2):
            earlier = json.loads(json.dumps(verified))
            earlier["date"] = (calibrated - datetime.timedelta(days=30 * months)).isoformat()
            for point in earlier["points"]:
                point["difference"] = -0.002 * months
            files.append(self.path(f"earlier-{months}.json"))
            with open(files[-1], "w", encoding="utf-8") as file:
                json.dump(earlier, file)
        status, out, said = self.guided(bench, "verify", bench.port, "--meter", "good.textproto", "--history", files[0],
                                        "--history", files[1], "--json", "late.json")
        self.assertEqual(status, 0, said + out)
        (drift,) = self.result("late.json")["drifts"]
        self.assertEqual((drift["verifications"], drift["dueCause"]), (4, "drift"))
        self.assertAlmostEqual(drift["perYear"], 0.002 / 30 * 365.25, delta=4e-3)
        self.assertLess(drift["due"], verified["due"])

    def test_a_meter_of_one_percent_is_refused_and_nothing_is_stored(self):
        with self.bench() as bench:
            status, out, said = self.guided(bench, "calibrate", bench.port, "--meter", "poor.textproto", "--channel",
                                            "main-12v", "--progress", "poor-jig.textproto")
            self.assertEqual(status, 1, said)
            self.assertIn("the class claimed allows", out)
            self.assertIn("In the jig: nothing", out)
            status, _, said = self.guided(bench, "verify", bench.port, "--meter", "good.textproto")
            self.assertEqual(status, 2)
            self.assertIn("keeps no calibration", said)

    def test_a_full_store_asks_for_leave_and_keeps_the_readings(self):
        with self.bench("--store", "full") as bench:
            status, out, said = self.calibrate(bench, "full")
            self.assertEqual(status, 3, said)
            self.assertIn("the jig's store is full", said)
            self.assertIn("In the jig: nothing", out)
            call = run("calibrate", bench.port, "--meter", self.path("good.textproto"), "--channel", "main-12v",
                       "--progress", self.path("full.textproto"), "--may-erase")
            self.assertEqual(call.returncode, 0, call.stderr)
            self.assertIn("read back the same", call.stdout)

    def test_a_worn_flash_is_said(self):
        with self.bench("--store", "worn") as bench:
            status, out, said = self.calibrate(bench, "worn")
            self.assertEqual(status, 3, said)
            self.assertIn("its flash is worn", said)
            self.assertIn("In the jig: nothing", out)

    def test_without_a_calibration_in_the_jig_nothing_is_decided(self):
        with self.bench() as bench:
            bench.level = 11.0
            call = run("watch", bench.port, "--limits", "atx-3.0", "--for", "2s", "--already-checked", "--out",
                       self.path("bare.steadyrail"), "--json", self.path("bare.json"), "--report", self.path("bare.html"))
            self.assertEqual(call.returncode, 4, call.stderr)
            doubt = "the jig holds no calibration"
            self.assertIn(doubt, call.stderr)
            self.assertIn("No reading of this session decides anything: " + doubt, call.stdout)
            result = self.result("bare.json")
            self.assertEqual(result["session"]["calibrationDoubt"], doubt)
            self.assertEqual(result["conclusion"], "not-tested")
            self.assertFalse(any(v["decision"] in ("pass", "fail") for v in result["verdicts"]))
            self.assertIn(doubt, content(self.path("bare.html")).decode())

    def test_an_expired_calibration_decides_nothing(self):
        jig = content(JIG).decode().replace('date: "2025-12-01" due: "2026-12-01"', 'date: "2024-12-01" due: "2025-12-01"')
        with open(self.path("late.textproto"), "w", encoding="utf-8") as file:
            file.write(jig)
        call = run("rehearse", "--jig", self.path("late.textproto"), "--scenario", "loose-connector", "--seed", "5",
                   "--for", "3s", "--out", self.path("late.steadyrail"), "--json", self.path("late-session.json"))
        self.assertEqual(call.returncode, 4, call.stderr)
        doubt = "calibration CAL-J01-1 was due on 2025-12-01, the recording is of 2026-01-01"
        self.assertIn(doubt, call.stdout)
        result = self.result("late-session.json")
        self.assertEqual(result["session"]["calibrationDoubt"], doubt)
        self.assertFalse(any(v["decision"] in ("pass", "fail") for v in result["verdicts"]))
        again = run("review", self.path("late.steadyrail"))
        self.assertIn(doubt, again.stdout)

    def test_readings_noted_beside_the_jigs_need_no_jig(self):
        rows = ["channel,reference,jig"]
        for volts in [1, 3, 5, 8, 11, 12, 13, 13, 12, 11, 8, 5, 3, 1]:
            rows.append("main-12v,%.4f,%.5f" % (volts, (volts - 0.012) / 1.004 + 2e-5 * (len(rows) % 3)))
        with open(self.path("noted.csv"), "w", encoding="utf-8") as file:
            file.write("\n".join(rows) + "\n")
        call = run("calibrate", "--meter", self.path("good.textproto"), "--readings", self.path("noted.csv"), "--channel",
                   "main-12v", "--progress", self.path("noted.textproto"), "--json", self.path("noted.json"))
        self.assertEqual(call.returncode, 0, call.stderr + call.stdout)
        self.assertAlmostEqual(self.result("noted.json")["channels"][0]["gain"], 1.004, delta=2e-5)
        self.assertIn("no port was named", call.stdout)

    def test_what_cannot_be_read_is_named(self):
        for text, words in [("channel,reference\nmain-12v,1.0\nmain-12v,5,01\n", "slip.csv:3:10: 3 cells for 2 columns: a decimal"),
                            ("channel,reference\nmain-12v,\n", "slip.csv:2:10: a number is missing"),
                            ("channel;reference\n", "cells are parted by commas")]:
            with open(self.path("slip.csv"), "w", encoding="utf-8") as file:
                file.write(text)
            call = run("calibrate", "/dev/ttyNONE9", "--meter", self.path("good.textproto"), "--readings",
                       self.path("slip.csv"))
            self.assert_refused(call, words)
        self.assert_refused(run("calibrate", "/dev/ttyNONE9", "--meter", self.path("good.textproto"), "--role", "a person"),
                            "a role as op-1, never a name")
        self.assert_refused(run("calibrate", "/dev/ttyNONE9", "--meter", self.path("good.textproto"), "--channel", "main-12"),
                            "main-12v")
        self.assert_refused(run("calibrate", "/dev/ttyNONE9", "--meter", self.path("good.textproto")), "/dev/ttyNONE9")
        self.assert_refused(run("calibrate", "--meter", self.path("good.textproto")), "port")
        self.assert_refused(run("verify", "/dev/ttyNONE9", "--meter", "benhc"), "benhc")


if __name__ == "__main__":
    unittest.main(verbosity=2)
