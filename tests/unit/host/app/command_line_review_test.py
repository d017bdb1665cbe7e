# SPDX-License-Identifier: Apache-2.0
"""Reviews of whole, cut and damaged recordings, and exports."""
import csv
import os
import random
import re
import unittest

from command_line import ROOT, Workspace, content, run


class Reviews(Workspace):
    def review(self, recording, *options):
        out = self.path("review.json")
        if os.path.exists(out):
            os.remove(out)
        call = run("review", recording, "--json", out, *options)
        return call, (self.result("review.json") if os.path.exists(out) else None)

    def test_review_finds_what_the_live_session_found(self):
        call, result = self.review(self.recording)
        self.assertEqual(call.returncode, self.rehearsed.returncode)
        self.assertEqual(result, self.result())

    def test_another_edition_gives_another_verdict_on_the_same_recording(self):
        # +12 V of the loose connector lies between the least of the peak table (10.80 V) and that of ATX 3.0 (11.20 V)
        # in part; the two must not agree on every limit.
        _, new = self.review(self.recording, "--limits", "atx-3.0")
        _, old = self.review(self.recording, "--limits", "atx12v-2.0")
        self.assertEqual((new["edition"], old["edition"]), ("atx-3.0", "atx12v-2.0"))
        least = lambda result: {v["limit"] for v in result["verdicts"] if v["rail"] == "+12V" and v["side"] == "low"}
        self.assertEqual(least(new), {11.2})
        self.assertEqual(least(old), {11.4})
        self.assertGreater(sum(c["listed"] + c["counted"] for c in old["eventCounts"] if c["kind"] == "excursion"),
                           sum(c["listed"] + c["counted"] for c in new["eventCounts"] if c["kind"] == "excursion"))

    def test_a_recording_cut_anywhere_is_reviewed_honestly(self):
        seed = 20260101
        chance = random.Random(seed)
        whole = content(self.recording)
        full = self.result()["coverage"]["scansSeen"]
        header_bytes = whole.index(b"\0") + 1
        seen = []
        for cut in sorted(chance.randrange(len(whole)) for _ in range(50)):
            piece = self.path("cut.steadyrail")
            with open(piece, "wb") as file:
                file.write(whole[:cut])
            call, result = self.review(piece)
            where = f"seed {seed}, cut at byte {cut}"
            if cut < header_bytes:
                self.assertEqual(call.returncode, 2, where)
                continue
            self.assertIn(call.returncode, (0, 1, 4), where + call.stderr)
            self.assertEqual(result["session"]["ended"], "cut", where)
            self.assertLessEqual(result["coverage"]["scansSeen"], full, where)
            seen.append(result["coverage"]["scansSeen"])
        self.assertEqual(seen, sorted(seen), "a longer piece never shows less")
        self.assertGreater(len(set(seen)), 10)

    def test_damage_is_counted_and_never_a_pass(self):
        seed = 7
        chance = random.Random(seed)
        whole = bytearray(content(self.recording))
        for _ in range(10):
            at = chance.randrange(len(whole) // 4, len(whole))
            whole[at] ^= 1 << chance.randrange(8)
        with open(self.path("flipped.steadyrail"), "wb") as file:
            file.write(whole)
        call, result = self.review(self.path("flipped.steadyrail"))
        self.assertIn(call.returncode, (0, 1, 4), f"seed {seed}: {call.stderr}")
        coverage = result["coverage"]
        self.assertGreater(coverage["framesDamaged"], 0)
        self.assertLess(coverage["scansSeen"], coverage["scansExpected"])
        self.assertNotEqual(coverage["gaps"], [])
        self.assertIn("damaged", call.stdout)

    def test_without_an_edition_nothing_is_judged(self):
        call = run("rehearse", "--for", "2s", "--unit", os.path.join(self.unit_without_edition()), "--json",
                   self.path("none.json"))
        self.assertEqual(call.returncode, 4, call.stderr)
        self.assertIn("no limit edition was named", call.stdout)
        result = self.result("none.json")
        self.assertEqual(result["edition"], "")
        self.assertLessEqual({verdict["decision"] for verdict in result["verdicts"]}, {"not-tested"})

    def unit_without_edition(self):
        with open(os.path.join(ROOT, "host/data/units/u-1.textproto"), encoding="utf-8") as file:
            text = re.sub(r"(?m)^edition:.*$", "", file.read())
        with open(self.path("plain.textproto"), "w", encoding="utf-8") as file:
            file.write(text)
        return self.path("plain.textproto")

    def test_export_of_a_stretch_is_that_part_of_the_whole(self):
        whole, part = self.path("whole.csv"), self.path("part.csv")
        self.assertEqual(run("export", self.recording, "--windows", whole).returncode, 0)
        call = run("export", self.recording, "--windows", part, "--from", "2s", "--to", "4s")
        self.assertEqual(call.returncode, 0, call.stderr)
        with open(whole, newline="", encoding="utf-8") as file:
            wanted = [row for row in csv.DictReader(file) if 2 <= float(row["start_s"]) < 4]
        with open(part, newline="", encoding="utf-8") as file:
            found = [row for row in csv.DictReader(file) if 2 <= float(row["start_s"]) < 4]
            self.assertGreater(len(found), 0)
        self.assertEqual(found, wanted)
        for bad in (["--from", "4s", "--to", "2s"], ["--to", "4s", "--events", self.path("events.csv")]):
            self.assert_refused(run("export", self.recording, "--windows", part, *bad), "--from")

    def test_exports_read_as_csv(self):
        events, windows = self.path("events.csv"), self.path("windows.csv")
        call = run("export", self.recording, "--events", events, "--windows", windows)
        self.assertEqual(call.returncode, 0, call.stderr)
        with open(events, newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        self.assertEqual(len(rows), len(self.result()["events"]))
        for row, event in zip(rows, self.result()["events"]):
            self.assertEqual((row["kind"], row["channel"]), (event["kind"], event["channel"]))
            self.assertEqual(float(row["extreme_v"]), event["extremeV"])
        with open(windows, newline="", encoding="utf-8") as file:
            reader = csv.DictReader(file)
            rows = list(reader)
        length = sum(float(row["length_s"]) for row in rows if row["channel"] == "main-12v")
        self.assertAlmostEqual(length, 6, places=6)
        lowest = min(float(row["min_v"]) for row in rows if row["channel"] == "graphics-1")
        # The verdict may leave out what lay outside the rating; the events do not.
        told = min(e["extremeV"] for e in self.result()["events"]
                   if e["channel"] == "graphics-1" and e["kind"] == "excursion")
        self.assertAlmostEqual(lowest, told, places=5)

    def test_output_holds_no_control_characters(self):
        for call in [self.rehearsed, run("review", self.recording), run("limits")]:
            self.assertNotRegex(call.stdout + call.stderr, r"[\x00-\x08\x0b-\x1f\x7f]")

    def test_a_full_disk_is_said(self):
        call = run("review", self.recording, "--json", "/dev/full")
        self.assertEqual(call.returncode, 3)
        self.assertIn("No space left", call.stderr)


if __name__ == "__main__":
    unittest.main(verbosity=2)
