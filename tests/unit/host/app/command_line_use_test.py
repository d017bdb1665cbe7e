# SPDX-License-Identifier: Apache-2.0
"""Help texts, wrong use and bad input, each with its message and exit status."""
import json
import os
import random
import re
import shutil
import socket
import threading
import unittest

from command_line import CAUTION, JIG, VERBS, Workspace, content, run


class Help(unittest.TestCase):
    def test_every_verb_shows_an_example_and_the_whole_caution(self):
        for arguments in [[]] + [[verb] for verb in VERBS]:
            call = run(*arguments, "--help")
            self.assertEqual(call.returncode, 0)
            self.assertIn("Example:\n  steadyrail " + " ".join(arguments), call.stdout)
            self.assertIn(CAUTION.strip(), call.stdout)

    def test_the_program_lists_its_verbs(self):
        for verb in VERBS:
            self.assertRegex(run("--help").stdout, r"\n  %s +[A-Z]" % verb)

    def test_version(self):
        self.assertRegex(run("--version").stdout, r"^steadyrail \d+\.\d+\.\d+\n$")


class Lists(unittest.TestCase):
    def test_limits_puts_the_four_published_minima_of_12_v_side_by_side(self):
        # 11.20 ATX 3.0 guide, 11.40 and 10.80 (peak) ATX12V guide 2.0, 11.04 card side.
        text = run("limits").stdout
        for least in ["11.200", "11.400", "10.800", "11.040"]:
            self.assertIn(least + " to", text)
        self.assertIn("from-memory", text)

    def test_limits_in_json(self):
        editions = json.loads(run("limits", "--json").stdout)["editions"]
        self.assertIn("atx-3.0", [edition["edition"] for edition in editions])
        one = json.loads(run("limits", "atx-3.0", "--json").stdout)
        rail = [row for row in one["regulation"] if row["rail"] == "p12v"][0]
        self.assertEqual((rail["leastUv"], rail["mostUv"]), (11_200_000, 12_600_000))

    def test_limits_of_one_edition_list_every_kind_of_limit_with_its_status(self):
        # ATX12V guide 2.0: Table 2, Table 11 (40 and 60 %, 1 A/us), Table 12 (5000 uF), Table 13 (T5 16 ms, PWR_OK 2.4 V).
        text = run("limits", "atx12v-2.0").stdout
        for words in ["11.400 V", "40 % of rated-current", "60 % of rated-current", "1 A/us", "Table 11", "5000 uF",
                      "120 mV peak to peak", "16 ms", "2400 mV", "no limits of power excursions", "from-memory"]:
            self.assertIn(words, text)
        self.assertIn("5 above 450 W", run("limits", "atx-3.0").stdout)
        steps = json.loads(run("limits", "atx12v-2.0", "--json").stdout)["transient"]
        self.assertEqual([(row["rail"], row.get("stepPercent"), row["status"]) for row in steps][:2],
                         [("p12v", 40, "read"), ("p12v", 60, "read")])

    def test_ports_in_json(self):
        for port in json.loads(run("ports", "--json").stdout)["ports"]:
            self.assertEqual(set(port), {"name", "description", "usb", "openable", "obstacle"})


def babble(server):
    """Another device: answers with noise for as long as it is asked."""
    noise = random.Random(2)
    try:
        connection, _ = server.accept()
        with connection:
            while connection.recv(4096):
                connection.sendall(noise.randbytes(300))
    except OSError:
        pass


class WrongUse(Workspace):
    def test_verbs_and_options(self):
        self.assert_refused(run(), "--help")
        self.assert_refused(run("wach", "x"), "Did you mean 'watch'?")
        self.assert_refused(run("review"), "recording")
        self.assert_refused(run("review", "a", "--nonsense"), "--nonsense", "review --help")
        self.assert_refused(run("watch"), "port")
        self.assert_refused(run("watch", "x", "--symptom", "crash"), "--symptom")
        self.assert_refused(run("rehearse", "--pace", "slow"), "--pace")
        self.assert_refused(run("rehearse", "--seed", "-1"), "--seed")
        self.assert_refused(run("rehearse", "--seed", "abc"), "'abc'", "whole number")
        self.assert_refused(run("rehearse", "--json", "-"), "/dev/stdout")
        self.assert_refused(run("rehearse", "--report", ""), "--report", "empty")
        self.assert_refused(run("rehearse", "--question", os.fsdecode(b"crackles \xff")), "UTF-8")
        self.assert_refused(run("export", self.recording), "--events")

    def test_durations(self):
        for wrong in ["5", "s", "5 s", "0s", "-1s", "1e9h", "soon"]:
            self.assert_refused(run("rehearse", "--for", wrong), "90s")

    def test_names_get_the_nearest_known_one(self):
        self.assert_refused(run("rehearse", "--scenario", "helthy"), "Did you mean 'healthy'?")
        self.assert_refused(run("review", self.recording, "--limits", "atx-3"), "Did you mean 'atx-3.0'?")
        self.assert_refused(run("limits", "atx3.0"), "Did you mean 'atx-3.0'?")
        self.assert_refused(run("rehearse", "--jig", "referense"), "Did you mean 'reference'?")
        self.assert_refused(run("review", self.recording, "--unit", "u-9"), "u-1")

    def test_files_that_are_no_recordings(self):
        self.assert_refused(run("review", self.path("none")), self.path("none"))
        self.assert_refused(run("review", self.folder), self.folder)
        for name, content in [("empty", b""), ("foreign", b"%PDF-1.7 " * 5000), ("zeros", bytes(100000)),
                              ("noise", random.Random(1).randbytes(100000))]:
            with open(self.path(name), "wb") as file:
                file.write(content)
            self.assert_refused(run("review", self.path(name)), self.path(name))

    def test_texts_are_complained_of_with_file_line_and_column(self):
        limits = self.path("mine.textproto")
        with open(limits, "w", encoding="utf-8") as file:
            file.write('edition: "mine"\nregulation { rail: RAIL_P13V }\n')
        self.assert_refused(run("review", self.recording, "--limits", limits), limits + ":2:")
        jig = content(JIG).decode()
        twice = self.path("twice.textproto")
        with open(twice, "w", encoding="utf-8") as file:
            file.write(jig.replace('input: "m.1"', 'input: "m.0"', 1))
        self.assertRegex(run("rehearse", "--jig", twice).stderr, re.escape(twice) + r":\d+:\d+: ")
        self.assert_refused(run("rehearse", "--jig", twice), "m.0")
        self.assert_refused(run("rehearse", "--unit", self.path("none.textproto")), "none.textproto")

    def test_outputs_are_checked_before_the_run(self):
        out = self.path("never.steadyrail")
        for options, word in [(["--report", self.path("no/r.html")], "folder is not there"),
                              (["--json", self.folder], "is a folder"),
                              (["--json", self.path("a"), "--report", self.path("a")], "same file"),
                              (["--report", out], "same file")]:
            self.assert_refused(run("rehearse", "--for", "8h", "--out", out, *options), word)
            self.assertFalse(os.path.exists(out))
        self.assert_refused(run("review", self.recording, "--json", self.recording), "would write over")

    def test_a_recording_is_written_over_only_by_force(self):
        kept = self.path("kept.steadyrail")
        shutil.copyfile(self.recording, kept)
        before = content(kept)
        self.assert_refused(run("rehearse", "--for", "1s", "--out", kept), kept, "--force")
        self.assertEqual(content(kept), before)
        self.assertIn(run("rehearse", "--for", "1s", "--out", kept, "--force").returncode, (0, 1, 4))
        self.assertNotEqual(content(kept), before)

    def test_ports_that_are_not_there_or_no_jig(self):
        out = self.path("port.steadyrail")
        common = ["--already-checked", "--out", out]
        self.assert_refused(run("watch", "/dev/ttyNONE9", *common), "/dev/ttyNONE9")
        self.assert_refused(run("watch", "tcp:127.0.0.1:1", *common), "tcp:127.0.0.1:1")
        self.assert_refused(run("watch", "nonsense", *common), "nonsense")
        with socket.create_server(("127.0.0.1", 0)) as server:
            name = "tcp:127.0.0.1:%d" % server.getsockname()[1]
            threading.Thread(target=babble, args=(server,), daemon=True).start()
            self.assert_refused(run("watch", name, *common), name)
        self.assertFalse(os.path.exists(out), "nothing was recorded, so nothing is left")

    def test_watch_asks_for_the_hook_up_order(self):
        call = run("watch", "/dev/ttyNONE9")
        self.assert_refused(call, "--already-checked", "NO PC", CAUTION.strip())


if __name__ == "__main__":
    unittest.main(verbosity=2)
