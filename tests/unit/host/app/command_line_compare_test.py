# SPDX-License-Identifier: Apache-2.0
"""Sessions held against each other, and heartbeats of a rehearsal, as a user meets them."""
import os
import unittest

from command_line import ROOT, Workspace, content, run


class Compare(Workspace):
    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        cls.sessions = [cls.recording]
        for name, scenario, seed in (("b", "healthy", "6"), ("c", "loose-connector", "7")):
            cls.sessions.append(cls.path(name + ".steadyrail"))
            call = run("rehearse", "--scenario", scenario, "--seed", seed, "--for", "6s", "--out", cls.sessions[-1])
            assert call.returncode in (0, 1, 4), call.stderr

    def test_a_reseated_plug_shows_where_it_was_and_nowhere_else(self):
        call = run("compare", *self.sessions, "--limits", "atx-3.0", "--json", self.path("compare.json"), "--report",
                   self.path("compare.html"))
        self.assertEqual(call.returncode, 0, call.stderr)
        self.assertTrue(call.stdout.startswith("SIMULATED: no real supply was measured."))
        self.assertIn("simulated", call.stdout.splitlines()[-1])
        found = self.result("compare.json")
        self.assertTrue(found["simulated"])
        self.assertEqual([one["state"] for one in found["sessions"]], ["A", "B", "A"])
        figures = {(one["figure"], one["channel"]): one for one in found["figures"]}
        # The scenario puts 35 mohm into that contact alone.
        plug = figures["contact-resistance", "graphics-1"]
        self.assertEqual(plug["change"], "shown")
        self.assertAlmostEqual(plug["effect"], -0.035, delta=0.001)
        self.assertLess(plug["intervalLow"], -0.035)
        self.assertGreater(plug["intervalHigh"], -0.035)
        self.assertGreater(figures["lowest", "graphics-1"]["effect"], 0.5)
        self.assertLess(abs(figures["mean", "standby-5v"]["effect"]), 0.01)
        for one in found["figures"]:
            self.assertEqual(len(one["values"]), 3)
            if one["change"] == "not-compared":
                self.assertTrue(one["reason"])
        page = content(self.path("compare.html")).decode()
        self.assertIn("<title>Simulated: Steadyrail comparison", page)
        self.assertIn("Never open a power supply", page)
        self.assertNotIn("<script", page)

    def test_two_sessions_are_one_way(self):
        call = run("compare", *self.sessions[:2])
        self.assertEqual(call.returncode, 4, call.stderr)
        self.assertIn("no session back at A", call.stdout)
        self.assertIn("one-way", call.stdout)

    def test_what_cannot_be_compared_is_refused(self):
        a, b, _ = self.sessions
        self.assert_refused(run("compare", a), "A B A")
        self.assert_refused(run("compare", *[a] * 10), "two to 9")
        self.assert_refused(run("compare", a, a), "named twice")
        self.assert_refused(run("compare", a, self.path("missing.steadyrail")), "missing.steadyrail")
        self.assert_refused(run("compare", a, self.path("base.json")), "base.json")
        self.assert_refused(run("compare", a, b, "--report", a), "write over")
        self.assert_refused(run("compare", a, b, "--limits", "atx-9"), "atx-9")


class Heartbeats(Workspace):
    def test_a_rehearsed_freeze_is_dated_by_its_heartbeat_and_repeats(self):
        names = [self.path("one.steadyrail"), self.path("two.steadyrail")]
        for name in names:
            call = run("rehearse", "--scenario", "pc-freeze", "--heartbeat", "--seed", "3", "--for", "15s", "--out", name,
                       "--json", name + ".json", "--report", name + ".html")
            self.assertIn(call.returncode, (0, 1, 4), call.stderr)
        self.assertEqual(content(names[0]), content(names[1]))
        result = self.result("one.steadyrail.json")
        marks = [mark for mark in result["session"]["marks"] if mark["source"] == "heartbeat"]
        self.assertEqual(len(marks), 1)
        # One period of half a second, twice the lateness bound of 50 ms, and the clocks.
        self.assertAlmostEqual(marks[0]["toS"] - marks[0]["fromS"], 0.6, delta=0.01)
        page = content(names[0] + ".html").decode()
        self.assertIn("Heartbeat of the PC", page)
        self.assertIn("one every 0.5 s", page)
        weighed = result["diagnosis"]["evidence"]["lockUps"][0]
        self.assertIn("heartbeat", weighed["source"])
        self.assertIn("button", weighed["source"])
        self.assertIn("flat load", weighed["source"])
        self.assertGreaterEqual(weighed["fromS"], marks[0]["fromS"])
        self.assertLessEqual(weighed["toS"], marks[0]["toS"])
        self.assertEqual(result["diagnosis"]["evidence"]["tries"], 1)
        for words, tries, window_s in ((["--lock-up-window", "5s"], 2, 5), (["--looks", "7"], 7, 2)):
            again = run("review", names[0], "--json", self.path("again.json"), *words)
            self.assertIn(again.returncode, (0, 1, 4), again.stderr)
            evidence = self.result("again.json")["diagnosis"]["evidence"]
            self.assertEqual((evidence["tries"], evidence["windowS"]), (tries, window_s))
            self.assertIn("looked at", " ".join(evidence["remarks"]))
            self.assertNotEqual(evidence["declarationSha256"], result["diagnosis"]["evidence"]["declarationSha256"])
        plain = run("rehearse", "--scenario", "pc-freeze", "--seed", "3", "--for", "2s", "--json", self.path("plain.json"))
        self.assertIn(plain.returncode, (0, 1, 4), plain.stderr)
        self.assertEqual(self.result("plain.json")["session"]["heartbeats"]["listenedAt"], "")

    def test_the_lines_of_the_readme_are_the_programs(self):
        readme = content(os.path.join(ROOT, "README.md")).decode().splitlines()
        for shell in ("powershell", "sh", "python"):
            line = run("heartbeat", "192.168.7.20:47000", "--token", "bench-b2-k7", "--one-liner", shell).stdout.strip()
            self.assertIn(line, readme)

    def test_wrong_uses_are_named(self):
        for words, complaint in ((("nowhere",), "HOST:PORT"), (("host:0",), "HOST:PORT"), (("host:99999",), "HOST:PORT"),
                                 (("::1:47000",), "HOST:PORT"), ((":47000",), "HOST:PORT")):
            self.assert_refused(run("heartbeat", *words, "--token", "good-token"), complaint)
        self.assert_refused(run("heartbeat", "host:1", "--token", "no token"), "--token")
        self.assert_refused(run("heartbeat", "host:1", "--token", "good-token", "--period", "10ms"), "--period")
        self.assert_refused(run("heartbeat", "host:1", "--token", "good-token", "--one-liner", "cmd"), "powershell")
        self.assert_refused(run("heartbeat", "host;x:1", "--token", "good-token", "--one-liner", "sh"), "host;x")
        self.assert_refused(run("watch", "/dev/ttyNONE9", "--already-checked", "--heartbeat", "99999"), "--heartbeat")
        self.assert_refused(run("watch", "/dev/ttyNONE9", "--already-checked", "--heartbeat-token", "abcd"), "--heartbeat")
        self.assert_refused(run("rehearse", "--heartbeat", "--pace", "real"), "--pace free")
        line = run("heartbeat", "[fe80::1]:47000", "--token", "good-token", "--one-liner", "powershell")
        self.assertEqual(line.returncode, 0, line.stderr)
        self.assertIn("'fe80::1',47000", line.stdout)


if __name__ == "__main__":
    unittest.main(verbosity=2)
