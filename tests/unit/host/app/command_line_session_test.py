# SPDX-License-Identifier: Apache-2.0
"""Sessions: rehearsals, a watch, Ctrl-C, a jig that dies, a disk that fills."""
import contextlib
import json
import os
import pty
import random
import re
import resource
import shutil
import signal
import socket
import struct
import subprocess
import threading
import time
import unittest
import uuid

from command_line import CAUTION, JIG, PATIENCE_S, PROGRAM, Workspace, content, run


class Rehearsals(Workspace):
    def test_it_says_simulated_everywhere_and_shows_the_caution(self):
        self.assertIn(CAUTION.strip(), self.rehearsed.stderr)
        self.assertTrue(self.rehearsed.stdout.startswith("SIMULATED"))
        self.assertIn("Recording (simulated): ", self.rehearsed.stdout)
        self.assertTrue(self.result()["simulated"])
        page = content(self.path("base.html")).decode()
        self.assertEqual(page.count("<section"), page.count('<span class="mark">simulated</span>'))
        for absent in ["<script", "src=", "href=", "http-equiv"]:
            self.assertNotIn(absent, page)
        self.assertIn(CAUTION.splitlines()[0][:40], page)

    def test_a_loose_connector_fails_where_it_is_and_nowhere_else(self):
        self.assertEqual(self.rehearsed.returncode, 1)
        failed = {verdict["channel"] for verdict in self.result()["verdicts"] if verdict["decision"] == "fail"}
        self.assertEqual(failed, {"graphics-1"})
        self.assertEqual(self.result()["conclusion"], "wiring")

    def test_the_healthy_supply_fails_nothing_under_atx_3(self):
        call = run("rehearse", "--scenario", "healthy", "--seed", "5", "--for", "6s", "--json", self.path("h.json"))
        self.assertIn(call.returncode, (0, 4))
        result = self.result("h.json")
        self.assertEqual(result["edition"], "atx-3.0")
        self.assertEqual([verdict for verdict in result["verdicts"] if verdict["decision"] == "fail"], [])

    def test_a_start_is_timed_and_passes(self):
        call = run("rehearse", "--scenario", "healthy", "--seed", "5", "--for", "3s", "--from-standby", "--json",
                   self.path("start.json"))
        self.assertIn(call.returncode, (0, 4))
        times = {verdict["quantity"]: verdict for verdict in self.result("start.json")["verdicts"]}
        for quantity in ["power-on-time", "rise-time", "pwr-ok-delay", "pwr-ok-rise-time", "rise-fall-back"]:
            self.assertEqual(times[quantity]["decision"], "pass", quantity)
            self.assertFalse(times[quantity]["noOccasion"])
        # PWR_OK through the simulated 1 kohm and 0.1 uF to 5 V: ln(4.6/2.6) of 0.1 ms from 0.4 to 2.4 V, 30 us of scan.
        self.assertAlmostEqual(times["pwr-ok-rise-time"]["value"], 57.05e-6, delta=30e-6)

    def test_what_befell_the_supply_leads_the_answer(self):
        for scenario, says in [("standby-loss", "+5VSB fell out of regulation and PWR_OK went low"),
                               ("overcurrent-trip", "The supply went off by itself"),
                               ("mains-brownout", "The mains was lost or dipped and PWR_OK went low")]:
            name = scenario + ".json"
            call = run("rehearse", "--scenario", scenario, "--seed", "1", "--for", "8s", "--json", self.path(name))
            self.assertTrue(call.stdout.splitlines()[1].startswith(says), call.stdout[:300])
            kinds = {event["kind"] for event in self.result(name)["events"]}
            self.assertIn("shutdown", kinds)
            failed = {verdict["channel"] for verdict in self.result(name)["verdicts"] if verdict["decision"] == "fail"}
            self.assertEqual(failed, {"standby-5v"} if scenario == "standby-loss" else set())

    def test_one_seed_gives_one_recording_and_another_seed_another(self):
        again, other = self.path("again.steadyrail"), self.path("other.steadyrail")
        for seed, out in [("5", again), ("6", other)]:
            run("rehearse", "--scenario", "loose-connector", "--seed", seed, "--for", "6s", "--out", out)
        base = content(self.recording)
        self.assertEqual(content(again), base)
        self.assertNotEqual(content(other), base)

    def test_nothing_is_lost_in_free_pace(self):
        coverage = self.result()["coverage"]
        self.assertEqual(coverage["scansExpected"], 6 * 32000)
        self.assertEqual(coverage["scansSeen"], coverage["scansExpected"])
        self.assertEqual((coverage["framesDamaged"], coverage["bytesDiscarded"], coverage["gaps"]), (0, 0, []))

    def test_real_pace_takes_its_time(self):
        began = time.monotonic()
        call = run("rehearse", "--seed", "1", "--for", "2s", "--pace", "real", "--json", self.path("real.json"))
        self.assertIn(call.returncode, (0, 1, 4), call.stderr)
        took_s = time.monotonic() - began
        self.assertGreaterEqual(took_s, 2)
        coverage = self.result("real.json")["coverage"]
        # A busy machine may fall behind the clock on the wall; ahead of it the session may not be.
        self.assertGreater(coverage["scansSeen"], 0)
        self.assertLessEqual(coverage["scansExpected"], took_s * 32000)

    def test_scenarios_are_listed(self):
        call = run("rehearse", "--scenario", "list")
        self.assertEqual(call.returncode, 0)
        for name in ["healthy", "tired-capacitors", "weak-12v", "standby-loss", "overvoltage", "group-regulated",
                     "overload", "overcurrent-trip", "loose-connector", "loose-return", "intermittent-contact",
                     "mains-brownout", "pc-freeze"]:
            self.assertRegex(call.stdout, r"(?m)^ +%s " % name)

    def test_a_missing_virtual_jig_is_said(self):
        lonely = self.path("lonely")
        os.makedirs(lonely, exist_ok=True)
        shutil.copy(PROGRAM, lonely)
        call = subprocess.run([os.path.join(lonely, "steadyrail"), "rehearse", "--for", "1s"], capture_output=True,
                              text=True, timeout=PATIENCE_S)
        self.assertEqual(call.returncode, 3)
        self.assertIn("steadyrail-virtual-jig", call.stderr)


class Interruptions(Workspace):
    def begin(self, out):
        """A long rehearsal, once it has recorded a megabyte; with a mark in its environment to find its children by."""
        mark = uuid.uuid4().hex
        call = subprocess.Popen([PROGRAM, "rehearse", "--seed", "4", "--for", "24h", "--out", out], text=True,
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL,
                                env=dict(os.environ, STEADYRAIL_TEST_MARK=mark))
        until = time.monotonic() + PATIENCE_S
        while not (os.path.exists(out) and os.path.getsize(out) > 1_000_000):
            self.assertLess(time.monotonic(), until)
            self.assertIsNone(call.poll(), "it ended by itself")
            time.sleep(0.05)
        return call, mark

    def marked(self, mark, name):
        """Process ids that carry the mark and run a program of that name."""
        found = []
        for pid in filter(str.isdigit, os.listdir("/proc")):
            try:
                with open(f"/proc/{pid}/environ", "rb") as file:
                    mine = mark.encode() in file.read()
                if mine and os.path.basename(os.readlink(f"/proc/{pid}/exe")) == name:
                    found.append(int(pid))
            except OSError:
                pass
        return found

    def end(self, call):
        out, err = call.communicate(timeout=PATIENCE_S)
        return call.returncode, out, err

    def review(self, recording):
        call = run("review", recording, "--json", self.path("cut.json"))
        self.assertIn(call.returncode, (0, 1, 4), call.stderr)
        return self.result("cut.json")

    def test_ctrl_c_ends_the_session_in_order(self):
        out = self.path("ctrl-c.steadyrail")
        call, mark = self.begin(out)
        call.send_signal(signal.SIGINT)
        status, text, _ = self.end(call)
        self.assertIn(status, (0, 1, 4))
        self.assertIn("Verdicts", text)
        result = self.review(out)
        self.assertEqual(result["session"]["ended"], "interrupted")
        self.assertEqual(result["coverage"]["gaps"], [])
        self.assertEqual(self.marked(mark, "steadyrail-virtual-jig"), [])

    def test_a_jig_that_dies_ends_the_session_and_keeps_the_recording(self):
        out = self.path("dead-jig.steadyrail")
        call, mark = self.begin(out)
        children = self.marked(mark, "steadyrail-virtual-jig")
        self.assertEqual(len(children), 1)
        os.kill(children[0], signal.SIGKILL)
        status, _, errors = self.end(call)
        self.assertEqual(status, 3, errors)
        self.assertGreater(self.review(out)["coverage"]["scansSeen"], 0)

    def test_a_full_disk_keeps_what_stands_and_says_what_is_lost(self):
        def a_megabyte():
            resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))

        out = self.path("full.steadyrail")
        call = run("rehearse", "--seed", "4", "--for", "20s", "--out", out, preexec_fn=a_megabyte)
        self.assertEqual(call.returncode, 3, call.stderr)
        self.assertIn("the disk was full", call.stderr)
        self.assertLessEqual(os.path.getsize(out), 1_000_000)
        result = self.review(out)
        self.assertEqual(result["session"]["ended"], "disk-full")
        self.assertGreater(result["coverage"]["scansSeen"], 0)

    def test_readers_that_go_away_do_not_end_a_session(self):
        out = self.path("unread.steadyrail")
        call = subprocess.Popen([PROGRAM, "rehearse", "--seed", "4", "--for", "5s", "--out", out],
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL)
        call.stdout.close()
        call.stderr.close()
        self.assertEqual(call.wait(timeout=PATIENCE_S), 3)
        self.assertEqual(self.review(out)["session"]["ended"], "finished")

    def test_ctrl_c_at_any_moment_ends_it(self):
        seed = 11
        chance = random.Random(seed)
        for trial in range(8):
            out = self.path(f"moment-{trial}.steadyrail")
            call = subprocess.Popen([PROGRAM, "rehearse", "--seed", "4", "--for", "24h", "--out", out], text=True,
                                    stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL)
            moment = chance.uniform(0.02, 0.8)
            time.sleep(moment)
            call.send_signal(signal.SIGINT)
            status, _, errors = self.end(call)
            self.assertIn(status, (0, 1, 3, 4, -signal.SIGINT), f"seed {seed}, after {moment:.3f} s: {errors}")
            if os.path.exists(out):
                self.review(out)

    def test_a_program_killed_outright_leaves_a_recording_and_no_jig(self):
        out = self.path("killed.steadyrail")
        call, mark = self.begin(out)
        call.kill()
        call.communicate()
        self.assertEqual(self.review(out)["session"]["ended"], "cut")
        until = time.monotonic() + 30
        while self.marked(mark, "steadyrail-virtual-jig"):
            self.assertLess(time.monotonic(), until, "the jig outlived the program")
            time.sleep(0.1)


class Watches(Workspace):
    """A watch over a pseudo-terminal: the firmware as a process, fed a supply at nominal volts by this test."""

    BLOCK = struct.Struct("<IIQII")
    OUTPUTS = struct.Struct("<QIII28I4x")

    NOMINAL = {"RAIL_P12V": 12, "RAIL_P5V": 5, "RAIL_P3V3": 3.3, "RAIL_M12V": -12, "RAIL_P5VSB": 5}
    LINES = {"pwr-ok": 5, "ps-on": 0.2}

    def nominal_codes(self, wrong):
        """Codes of the reference jig: rails at nominal, PWR_OK high, PS_ON# low, mid-scale elsewhere; volts in `wrong`
        instead of those."""
        codes = [0] * 24
        for block in re.findall(r"(?m)^channels \{(.*?)^\}", content(JIG).decode(), re.S):
            field = lambda name: re.search(name + r': "?([^" \n]+)', block)
            value = self.LINES.get(field("name").group(1))
            if "CHANNEL_KIND_RAIL_VOLTAGE" in block:
                value = self.NOMINAL[field("rail").group(1)]
            value = wrong.get(field("name").group(1), value)
            if value is not None:
                offset, scale = (float(field(name).group(1)) for name in ("unit_at_code_0", "unit_per_code"))
                codes[int(field("index").group(1))] = round((value - offset) / scale)
        return codes

    def feed(self, scans, stop, wrong):
        began = time.monotonic()
        codes = struct.pack("<24h", *self.nominal_codes(wrong)) * 32
        block = 0
        while not stop.is_set():
            scans.sendall(self.BLOCK.pack(0x53524431, 0, block * 32, 0, 0) + codes)
            if len(scans.recv(self.OUTPUTS.size, socket.MSG_WAITALL)) < self.OUTPUTS.size:
                return
            block += 1
            time.sleep(max(0, began + block / 1000 - time.monotonic()))

    @contextlib.contextmanager
    def fed(self, wrong={}):
        """The port of a jig that is fed; `wrong`: volts by channel that are not nominal."""
        ours, theirs = socket.socketpair()
        announced, announce = os.pipe()
        jig = subprocess.Popen([os.path.join(os.path.dirname(PROGRAM), "steadyrail-virtual-jig"), "--scan-fd",
                                str(theirs.fileno()), "--announce-fd", str(announce), "--line", "drop"],
                               pass_fds=(theirs.fileno(), announce))
        theirs.close()
        os.close(announce)
        stop = threading.Event()
        feeder = threading.Thread(target=self.feed, args=(ours, stop, wrong), daemon=True)
        feeder.start()
        try:
            with os.fdopen(announced) as pipe:
                port = pipe.readline().strip()
            yield port
        finally:
            stop.set()
            feeder.join(timeout=PATIENCE_S)
            ours.close()
            jig.wait(timeout=PATIENCE_S)

    def test_it_records_judges_and_reports(self):
        out = self.path("watch.steadyrail")
        with self.fed() as port:
            call = run("watch", port, "--limits", "atx-3.0", "--for", "2s", "--already-checked", "--out", out, "--json",
                       self.path("watch.json"), "--question", "Does it hold?")
            self.assertEqual(call.returncode, 4, call.stderr)
            self.assertIn(CAUTION.strip(), call.stderr)
            self.assertIn("Does it hold?", call.stdout)
            self.assertNotIn("check the wiring", call.stderr)
            result = self.result("watch.json")
            self.assertEqual(result["session"]["ended"], "finished")
            self.assertGreater(result["coverage"]["scansSeen"], 32000)
            main = [v for v in result["verdicts"] if v["channel"] == "main-12v" and v["quantity"] == "static"][0]
            self.assertAlmostEqual(main["value"], 12.0, delta=0.02)
            self.assertEqual(run("review", out).returncode, 4)
            self.assertEqual(run("watch", port, "--already-checked", "--out", out).returncode, 2)

    def test_the_hook_up_order_reads_the_jig_and_names_what_is_live(self):
        out = self.path("live.steadyrail")
        ours, theirs = pty.openpty()
        with self.fed() as port:  # every rail is on: no state to mate a plug in
            call = subprocess.Popen([PROGRAM, "watch", port, "--for", "1s", "--out", out], stdin=theirs,
                                    stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
            with call:
                os.write(ours, b"\n\nend\n")
                said = call.communicate(timeout=PATIENCE_S)[1]
        os.close(ours)
        os.close(theirs)
        self.assertEqual(call.returncode, 2, said)
        self.assertEqual(said.count("WRONG: +5VSB at standby-5v reads 5.0"), 2, said)
        self.assertIn("mains off first", said)
        self.assertFalse(os.path.exists(out))

    def test_a_heartbeat_that_stops_is_a_mark_and_one_that_is_ended_is_not(self):
        out = self.path("beats.steadyrail")
        with self.fed() as port:
            call = subprocess.Popen([PROGRAM, "watch", port, "--limits", "atx-3.0", "--for", "10m", "--already-checked",
                                     "--heartbeat", "0@127.0.0.1", "--out", out, "--json", self.path("beats.json")],
                                    stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
            with call:
                line = ""
                while "heartbeat 127.0.0.1:" not in line:
                    line = call.stderr.readline()
                    self.assertNotEqual(line, "")
                order = line.split()
                send = [PROGRAM] + order[1:] + ["--period", "100ms"]
                while "press Enter" not in line:
                    line = call.stderr.readline()
                    self.assertNotEqual(line, "")
                ended = run(*send[1:], "--for", "1s", "--json")
                self.assertEqual(ended.returncode, 0, ended.stderr)
                self.assertGreaterEqual(json.loads(ended.stdout)["sent"], 5)
                stranger = run(*send[1:-3], "somebody-else", "--for", "300ms")
                self.assertEqual(stranger.returncode, 0, stranger.stderr)
                frozen = subprocess.Popen(send, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                time.sleep(1.5)
                frozen.kill()
                frozen.wait()
                time.sleep(1.5)
                call.send_signal(signal.SIGINT)
                said = call.communicate(timeout=PATIENCE_S)[1]
        result = self.result("beats.json")
        beats = result["session"]["heartbeats"]
        self.assertEqual(beats["runs"], 2)
        self.assertEqual(beats["farewells"], 1)
        self.assertGreaterEqual(beats["foreign"], 1)
        self.assertTrue(beats["fromThisComputer"])
        self.assertIn("this very computer", said)
        marks = [mark for mark in result["session"]["marks"] if mark["source"] == "heartbeat"]
        self.assertEqual(len(marks), 1)
        self.assertTrue(marks[0]["lockUp"] and marks[0]["placed"])
        self.assertLess(marks[0]["toS"] - marks[0]["fromS"], 1)
        self.assertEqual(run("review", out, "--json", self.path("again.json")).returncode, call.returncode)
        self.assertEqual(self.result("again.json")["session"]["marks"], result["session"]["marks"])

    def test_a_line_typed_while_it_runs_marks_a_lock_up(self):
        out = self.path("marked.steadyrail")
        with self.fed() as port:
            call = subprocess.Popen([PROGRAM, "watch", port, "--limits", "atx-3.0", "--for", "10m", "--already-checked",
                                     "--symptom", "freeze", "--out", out, "--json", self.path("marked.json")],
                                    stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
            with call:
                next(one for one in call.stderr if "press Enter" in one)
                time.sleep(3)
                call.stdin.write("it froze\n")
                call.stdin.flush()
                self.assertTrue(any("lock-up 1 is marked" in one for one in call.stderr))
                call.send_signal(signal.SIGINT)
                call.communicate(timeout=PATIENCE_S)
        result = self.result("marked.json")
        self.assertEqual(result["session"]["symptom"], "freeze")
        (mark,) = result["session"]["marks"]
        self.assertEqual((mark["source"], mark["words"], mark["lockUp"], mark["placed"]), ("key", "it froze", True, True))
        # Typed some 3 s after the start; two seconds are the hand's.
        self.assertAlmostEqual(mark["toS"] - mark["fromS"], 2, delta=0.2)
        self.assertLess(abs(mark["toS"] - 3), 1.5)
        self.assertEqual(len(result["diagnosis"]["evidence"]["lockUps"]), 1)

    def test_a_wrong_rail_is_said_while_the_session_runs(self):
        out = self.path("wrong.steadyrail")
        words = "graphics-1 reads 5.00 V, the voltage of +5V and not of +12V: the wrong rail is on its plug"
        with self.fed({"graphics-1": 5}) as port:
            call = subprocess.Popen([PROGRAM, "watch", port, "--limits", "atx-3.0", "--for", "10m", "--already-checked",
                                     "--out", out, "--json", self.path("wrong.json")],
                                    stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
            with call:
                line = next((one for one in call.stderr if "check the wiring" in one), "")
                call.send_signal(signal.SIGINT)
                printed, _ = call.communicate(timeout=PATIENCE_S)
        self.assertIn(words, line)
        self.assertIn(words, printed)
        verdicts = [v for v in self.result("wrong.json")["verdicts"]
                    if v["channel"] == "graphics-1" and v["decision"] != "not-tested"]
        self.assertGreaterEqual(len(verdicts), 2)
        for verdict in verdicts:
            self.assertEqual((verdict["decision"], verdict["reason"]), ("undecided", words))


if __name__ == "__main__":
    unittest.main(verbosity=2)
