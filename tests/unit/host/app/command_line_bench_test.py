# SPDX-License-Identifier: Apache-2.0
"""The bench: a self-test, and a load programme on a simulated supply. With --all every fault of the build, else four."""
import json
import os
import re
import shutil
import sys
import tempfile
import unittest

ALL = "--all" in sys.argv
sys.argv = [word for word in sys.argv if word != "--all"]

from command_line import CAUTION, content, run  # noqa: E402: takes the program's path off the arguments

# Fault of the build, the check that must name it.
FAULTS = {
    "wrong-upper": "resistors", "wrong-lower": "resistors", "swapped-channels": "map", "open-lead": "map",
    "open-return": "return-leg", "open-tie": "ground-tie", "open-link": "link", "leaky-clamp": "clamp",
    "cross-talk": "cross-talk", "skewed": "skew", "noisy": "noise", "stuck": "map", "clock-off": "sample-clock",
}
SHORT = ["wrong-lower", "swapped-channels", "open-link", "leaky-clamp"]


class Bench(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.mkdtemp(prefix="bench_")
        cls.env = {**os.environ, "XDG_STATE_HOME": cls.folder}

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.folder)

    def path(self, name):
        return os.path.join(self.folder, name)

    def call(self, *arguments):
        return run(*arguments, env=self.env)

    def report(self, *arguments):
        call = self.call("selftest", "virtual", "--json", "--keep", self.path("kept.textproto"), *arguments)
        self.assertIn(call.returncode, (0, 1, 4), call.stderr)
        return call, json.loads(call.stdout)


class SelfTest(Bench):
    def test_a_sound_jig_passes_and_says_what_it_did_not_test(self):
        call, report = self.report()
        self.assertEqual(call.returncode, 0, [item for item in report["items"] if item["outcome"] != "pass"])
        self.assertIn(CAUTION.strip(), call.stderr)
        self.assertEqual(report["outcome"], "pass")
        self.assertTrue(report["simulated"])
        checks = {item["check"] for item in report["items"]}
        self.assertEqual(checks, set(FAULTS.values()) | {"zero", "scale"})
        for item in report["items"]:
            self.assertTrue(item["figure"] and item["limit"] and item["source"], item)
        self.assertTrue(report["notTested"])

    def test_the_small_jig_passes_too(self):
        call, report = self.report("--jig", "small")
        self.assertEqual(call.returncode, 0, [item for item in report["items"] if item["outcome"] != "pass"])

    def test_every_fault_of_the_build_is_named_where_it_is(self):
        for fault in FAULTS if ALL else SHORT:
            for seed in range(1, 8 if ALL else 2):
                with self.subTest(fault=fault, seed=seed):
                    call, report = self.report("--fault", fault, "--seed", str(seed))
                    self.assertEqual(call.returncode, 1)
                    placed = re.search(r"simulated fault: (.*)", call.stderr).group(1)
                    failed = {(item["check"], item["subject"]) for item in report["items"] if item["outcome"] == "fail"}
                    self.assertIn(FAULTS[fault], {check for check, _ in failed}, failed)
                    if fault in ("cross-talk", "clock-off"):
                        continue
                    named = [subject for check, subject in failed if check == FAULTS[fault]]
                    self.assertTrue(any(subject in placed for subject in named), (placed, named))
                    strangers = [subject for _, subject in failed if subject not in placed]
                    self.assertEqual(strangers, [], "what is sound is not blamed")

    def test_sound_jigs_of_other_parts_pass(self):
        for seed in range(2, 40 if ALL else 3):
            with self.subTest(seed=seed):
                call, report = self.report("--seed", str(seed))
                self.assertEqual(call.returncode, 0, [item for item in report["items"] if item["outcome"] != "pass"])

    def test_lines_to_paste_for_swapped_leads(self):
        _, report = self.report("--fault", "swapped-channels:graphics-1")
        self.assertIn('index: 17 name: "graphics-1" input: "g.1"', report["corrections"])

    def test_wrong_use(self):
        for arguments, words in [
                (["virtual", "--fault", "worn"], "unknown fault 'worn'; there are wrong-upper"),
                (["virtual", "--fault", "noisy:nowhere"], "no channel or group 'nowhere'"),
                (["virtual", "--setup", "small"], "for jig J-02, not for J-01"),
                (["/dev/null", "--fault", "noisy"], "--fault is for the port 'virtual'"),
                (["/dev/null"], "say so with --yes"),
                (["/dev/none", "--yes"], "/dev/none")]:
            call = self.call("selftest", *arguments)
            self.assertEqual(call.returncode, 2, call.stderr)
            self.assertIn(words, call.stderr)


class Load(Bench):
    def test_it_prints_what_it_would_draw(self):
        call = self.call("load", "steps", "--unit", "u-1", "--dry-run", "--json", self.path("plan.json"))
        self.assertEqual(call.returncode, 0, call.stderr)
        plan = json.loads(content(self.path("plan.json")))
        # 4.93 A x 12 V for half of 30 rounds of 40 ms, from the programme's own lines.
        self.assertAlmostEqual(plan["phases"][0]["energyJ"], 4.93 * 12 * 0.02 * 30, delta=0.02)
        self.assertIn("+12V 24.35 A", call.stdout)
        self.assertEqual(plan["powerWAllowed"], 650)

    def test_it_is_refused_without_a_self_test_and_plays_with_one(self):
        refused = self.call("load", "steps", "virtual", "--unit", "u-1", "--self-test", self.path("none"))
        self.assertEqual(refused.returncode, 2)
        self.assertIn("no self-test of jig J-01 is kept", refused.stderr)
        self.report("--fault", "open-link")
        refused = self.call("load", "steps", "virtual", "--unit", "u-1", "--self-test", self.path("kept.textproto"))
        self.assertEqual(refused.returncode, 2)
        self.assertIn("self-test did not pass", refused.stderr)
        self.assertEqual(self.call("selftest", "virtual").returncode, 0)
        one = self.path("one.textproto")
        with open(one, "w", encoding="utf-8") as file:
            file.write('id: "one" phases { name: "12 V" repeat: 30 steps { gate: 3 on: true after_us: 20000 } '
                       "steps { gate: 3 after_us: 20000 } }\n")
        played = self.call("load", one, "virtual", "--unit", "u-1", "--json", self.path("l.json"), "--out",
                           self.path("l.steadyrail"))
        self.assertIn(played.returncode, (0, 4), played.stderr)
        self.assertIn("They stay hot for minutes", played.stderr)
        result = json.loads(content(self.path("l.json")))
        times = {verdict["quantity"]: verdict["decision"] for verdict in result["verdicts"]}
        self.assertEqual(times["power-on-time"], "pass", "PS_ON# switched the supply on")
        again = self.call("load", one, "virtual", "--unit", "u-1", "--out", self.path("m.steadyrail"))
        self.assertIn(again.returncode, (0, 4))
        self.assertEqual(content(self.path("l.steadyrail")), content(self.path("m.steadyrail")), "one seed, one recording")

    def test_wrong_use(self):
        bad = self.path("bad.textproto")
        with open(bad, "w", encoding="utf-8") as file:
            file.write('id: "bad"\nphases {\n  name: "x"\n  steps { gate: 9 on: true }\n}\n')
        for arguments, words in [
                (["steps", "--unit", "u-1"], "name the jig's port"),
                (["steps", "virtual"], "name the supply's label with --unit"),
                (["stepps", "virtual", "--unit", "u-1"], "steps"),
                ([bad, "virtual", "--unit", "u-1"], f"{bad}:4:11: the jig's load bank has no gate 9"),
                (["steps", "virtual", "--unit", "u-1", "--jig", "small"], "has no load bank"),
                (["steps", "/dev/null", "--unit", "u-1"], "say so with --yes")]:
            call = self.call("load", *arguments)
            self.assertEqual(call.returncode, 2, call.stderr)
            self.assertIn(words, call.stderr)


if __name__ == "__main__":
    unittest.main()
