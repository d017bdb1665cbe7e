# SPDX-License-Identifier: Apache-2.0
"""What the tests of the command line share: the program (first argument), and a folder with one short rehearsal."""
import json
import os
import shutil
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
ROOT = os.path.abspath(os.path.join(os.path.dirname(__file__), "../../../.."))
JIG = os.path.join(ROOT, "host/data/jigs/reference.textproto")
VERBS = ["ports", "label", "limits", "budget", "watch", "review", "rehearse", "export", "heartbeat", "compare",
         "calibrate", "verify", "load", "selftest"]
PATIENCE_S = 240  # of one call, on a machine that is busy with other tests


def content(path):
    with open(path, "rb") as file:
        return file.read()


def run(*arguments, **options):
    return subprocess.run([PROGRAM, *arguments], capture_output=True, text=True, timeout=PATIENCE_S,
                          stdin=subprocess.DEVNULL, **options)


CAUTION = content(os.path.join(ROOT, "host/data/texts/caution.txt")).decode()


class Workspace(unittest.TestCase):
    """A folder of its own for every test class, with one short rehearsal to work on."""

    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.mkdtemp(prefix="command_line_")
        cls.recording = cls.path("base.steadyrail")
        cls.rehearsed = run("rehearse", "--scenario", "loose-connector", "--seed", "5", "--for", "6s", "--out",
                            cls.recording, "--json", cls.path("base.json"), "--report", cls.path("base.html"),
                            "--events-csv", cls.path("base.csv"))
        assert cls.rehearsed.returncode in (0, 1, 4), cls.rehearsed.stderr

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.folder)

    @classmethod
    def path(cls, name):
        return os.path.join(cls.folder, name)

    @classmethod
    def result(cls, name="base.json"):
        with open(cls.path(name), encoding="utf-8") as file:
            return json.load(file)

    def assert_refused(self, call, *words):
        self.assertEqual(call.returncode, 2, call.stderr)
        self.assertEqual(call.stdout, "")
        for word in words:
            self.assertIn(word, call.stderr)
