"""Lots from the command line: graded, broken off, gone on with, split, merged, watched, studied."""

import csv
import hashlib
import json
import os
import pathlib
import random
import resource
import signal
import sqlite3
import subprocess
import tempfile
import time
import unittest

import faces
from PIL import PngImagePlugin

ENDGRADE = os.environ["ENDGRADE"]
SIZE_PX = (240, 180)


def save(picture, path, number):
    """Small, and with a comment of its own, so that no two files are the same."""
    path.parent.mkdir(parents=True, exist_ok=True)
    comment = PngImagePlugin.PngInfo()
    comment.add_text("number", str(number))
    picture.resize(SIZE_PX).save(path, pnginfo=comment)


def run(*arguments, **options):
    return subprocess.run([ENDGRADE, *map(str, arguments)], capture_output=True, text=True,
                          check=False, **options)


def rows(store):
    """Everything in the store's photographs, as it is."""
    with sqlite3.connect(f"file:{store}?mode=ro", uri=True) as database:
        return database.execute("SELECT * FROM photograph ORDER BY seq").fetchall()


class LotTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.clean, cls.dirty = faces.clean(), faces.dirty()

    def setUp(self):
        temporary = tempfile.TemporaryDirectory()
        self.addCleanup(temporary.cleanup)
        self.home = pathlib.Path(temporary.name)
        self.lot = self.home / "lot"

    def make(self, cords, folder=None):
        folder = folder or self.lot
        for i in range(cords):
            save(self.clean, folder / f"c{i:02d}-A.png", 2 * i)
            save(self.dirty if i == 0 else self.clean, folder / f"c{i:02d}-B.png", 2 * i + 1)

    def grade(self, out="out", *arguments, **options):
        return run("lot", "--limits", "sm-upc", "--out", self.home / out, *arguments, self.lot,
                   **options)

    def test_gives_a_decision_a_report_and_a_spreadsheet(self):
        self.make(2)
        done = self.grade()
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertIn("4 photographs graded", done.stdout)
        self.assertIn("Lot: reject. 1 cord of 2 fail", done.stdout)
        html = (self.home / "out/report.html").read_text()
        self.assertIn("Reject the lot", html)
        with open(self.home / "out/faces.csv", newline="") as file:
            found = [(row["cord"], row["end"], row["state"]) for row in csv.DictReader(file)]
        self.assertEqual([(cord, end) for cord, end, _ in found],
                         [("c00", "A"), ("c00", "B"), ("c01", "A"), ("c01", "B")])
        self.assertEqual(found[1][2], "fail")
        self.assertEqual(sorted(path.name for path in self.lot.iterdir()),
                         ["c00-A.png", "c00-B.png", "c01-A.png", "c01-B.png"])

    def test_the_report_carries_records_that_verify_holds_against_the_photographs(self):
        self.make(2)
        self.grade()
        report = self.home / "out/report.html"
        done = run("verify", "--photograph", self.lot, report)
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertEqual(done.stdout.count("the same record"), 4)
        self.assertEqual(run("verify", report).returncode, 3)  # without its photographs

        # A large lot's records are inside by their hashes: the same page with every record so.
        page = report.read_text()
        start = page.index(">", page.index('id="endgrade-evidence"')) + 1
        end = page.index("</script>", start)
        carried = json.loads(page[start:end])

        def brief(piece, verdict):
            record = piece["record"]
            text = json.dumps(record, separators=(",", ":"), ensure_ascii=False)
            return {"path": record["image"]["path"], "picture_sha256": record["image"]["sha256"],
                    "limits_sha256": record["limits"]["sha256"], "verdict": verdict or record["verdict"],
                    "program": f"endgrade {record['program']['version']} ({record['program']['build']})",
                    "record_sha256": hashlib.sha256(text.encode()).hexdigest() if not verdict else "0" * 64}

        for verdict, code in [(None, 0), ("pass", 1)]:
            short = dict(carried, evidence=[], brief=[brief(p, verdict) for p in carried["evidence"]])
            block = json.dumps(short).replace("<", "\\u003c")
            made = page[:start - 66] + "0" * 64 + '">' + block + page[end:]
            made = made.replace("0" * 64, hashlib.sha256(made.encode()).hexdigest(), 1)
            (self.home / "short.html").write_text(made)
            done = run("verify", "--photograph", self.lot, self.home / "short.html")
            self.assertEqual(done.returncode, code, done.stdout + done.stderr)
        self.assertIn("verdict: pass, now fail", done.stderr)

    def test_grades_nothing_twice_and_what_changed_again(self):
        self.make(1)
        self.grade()
        again = self.grade()
        self.assertIn("0 photographs graded, 2 known already", again.stdout)
        save(self.clean, self.lot / "c00-B.png", 99)
        self.assertIn("1 photographs graded, 1 known already", self.grade().stdout)
        self.assertEqual(len(rows(self.home / "out/lot.sqlite")), 3)

    def test_gives_the_same_store_at_any_number_of_threads(self):
        self.make(2)
        self.grade("one", "--threads", 1)
        self.grade("four", "--threads", 4)
        self.assertEqual(rows(self.home / "one/lot.sqlite"), rows(self.home / "four/lot.sqlite"))

    def test_goes_on_after_kill_9_with_the_same_store(self):
        self.make(4)
        self.grade("whole")
        chance = random.Random(20261125)
        store = self.home / "killed/lot.sqlite"
        kills = 0
        for rows_before in [0, 1, 2, 4, 5]:  # rows, not seconds: a fast machine is done in no time
            process = subprocess.Popen(
                [ENDGRADE, "lot", "--limits", "sm-upc", "--out", self.home / "killed", self.lot],
                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            while rows_before and process.poll() is None and not (
                    store.exists() and self.count(store) >= rows_before):
                time.sleep(0.002)
            time.sleep(chance.uniform(0, 0.02))
            process.kill()
            kills += process.wait() == -signal.SIGKILL
        self.assertGreater(kills, 0)
        self.grade("killed")
        self.assertEqual(rows(self.home / "killed/lot.sqlite"), rows(self.home / "whole/lot.sqlite"))
        self.assertEqual(run("store", "verify", self.home / "killed/lot.sqlite").returncode, 0)

    def test_stops_at_ctrl_c_and_says_how_to_go_on(self):
        self.make(6)
        process = subprocess.Popen(
            [ENDGRADE, "lot", "--limits", "sm-upc", "--threads", "1", "--out", self.home / "out",
             self.lot], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        store = self.home / "out/lot.sqlite"
        while process.poll() is None and not (store.exists() and self.count(store) > 0):
            time.sleep(0.01)
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate()
        if process.returncode == -signal.SIGINT:  # else it was done before
            self.assertIn("The same command goes on from there", errors)
            self.assertLess(len(rows(store)), 12)
        self.grade()
        self.assertEqual(len(rows(store)), 12)

    @staticmethod
    def count(store):
        try:
            return len(rows(store))
        except sqlite3.OperationalError:  # not made yet
            return 0

    def test_goes_on_with_the_rest_and_lists_what_is_left_out(self):
        self.make(2)
        (self.lot / "IMG_0001.png").write_bytes((self.lot / "c00-A.png").read_bytes())
        (self.lot / "c02-A.png").write_bytes(b"\x89PNG and no more")
        save(self.clean, self.lot / "sub/c01-A.png", 77)
        done = self.grade()
        self.assertIn("IMG_0001.png: the name does not match", done.stderr)
        self.assertIn("c02-A.png: could not be read", done.stderr)
        self.assertIn("sub/c01-A.png: is of the same face and attempt as c01-A.png", done.stderr)
        html = (self.home / "out/report.html").read_text()
        for name in ("IMG_0001.png", "c02-A.png", "sub/c01-A.png"):
            self.assertIn(f"<b>{name}</b>", html)
        self.assertEqual(len(rows(self.home / "out/lot.sqlite")), 6)

    def test_keeps_what_it_has_when_the_disk_is_full(self):
        self.make(5)
        self.grade("whole")
        size = (self.home / "whole/lot.sqlite").stat().st_size

        def little_room():
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (size * 6 // 10, size * 6 // 10))

        full = self.grade("full", preexec_fn=little_room, restore_signals=False)
        self.assertEqual(full.returncode, 2)
        self.assertRegex(full.stderr, r"lot.sqlite: the disk (is full|refuses)")
        self.grade("full")
        self.assertEqual(rows(self.home / "full/lot.sqlite"), rows(self.home / "whole/lot.sqlite"))

    def test_splits_and_merges_into_the_store_of_one_run(self):
        self.make(4)
        self.grade("whole")
        for part in ("1/3", "2/3", "3/3"):
            done = self.grade("parts", "--shard", part)
            self.assertEqual(done.returncode, 0, done.stderr)
        parts = sorted((self.home / "parts").glob("lot-*.sqlite"))
        self.assertEqual(len(parts), 3)
        self.assertEqual(sum(len(rows(part)) for part in parts), 8)
        merged = self.home / "parts/lot.sqlite"
        done = run("store", "merge", "--out", merged, *parts)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(rows(merged), rows(self.home / "whole/lot.sqlite"))
        self.assertIn("0 photographs graded, 8 known already", self.grade("parts").stdout)

    def test_picks_up_photographs_that_arrive(self):
        self.make(1)
        process = subprocess.Popen(
            [ENDGRADE, "lot", "--limits", "sm-upc", "--watch", "--watch-idle", "3", "--out",
             self.home / "out", self.lot], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True)
        time.sleep(0.5)
        save(self.clean, self.lot / "later/c01-A.png", 5)
        output, _ = process.communicate(timeout=120)
        self.assertIn("3 photographs graded", output)

    def test_reads_a_lot_file(self):
        self.make(2, self.lot / "pictures")
        file = self.lot / "lot.toml"
        text = ('schema = "endgrade.lot/1"\nname = "Delivery 12"\nphotographs = "pictures"\n'
                'ends = ["A", "B"]\n[limits]\ndefault = "sm-upc"\n'
                '[sampling]\nlot_size = 8\naql_percent = 6.5\n')
        file.write_text(text)
        done = run("lot", "--out", self.home / "out", file)
        self.assertEqual(done.returncode, 1, done.stderr)  # letter A: both cords are the sample, none may fail
        self.assertIn("Delivery 12", (self.home / "out/report.html").read_text())
        self.assertIn("ISO 2859-1", (self.home / "out/report.html").read_text())
        file.write_text(text.replace("ends =", "edns ="))
        done = run("lot", "--out", self.home / "out", file)
        self.assertEqual(done.returncode, 2)
        self.assertRegex(done.stderr, r"lot\.toml:\d+: .*edns")
        self.assertEqual(run("lot", "--limits", "sm-upc", file).returncode, 2)

    def test_refuses_to_write_among_the_photographs(self):
        self.make(1)
        done = run("lot", "--limits", "sm-upc", "--out", self.lot / "graded", self.lot)
        self.assertEqual(done.returncode, 2)
        self.assertIn("among the input pictures", done.stderr)

    def test_says_when_there_is_nothing_of_that_name(self):
        done = self.grade()
        self.assertEqual(done.returncode, 2)
        self.assertIn("there is no such file or folder", done.stderr)

    def test_finds_exports_and_verifies(self):
        self.make(2)
        self.grade()
        store = self.home / "out/lot.sqlite"
        found = run("store", "find", "--verdict", "fail", store)
        self.assertRegex(found.stdout, r"^c00 B attempt 1  fail  ")
        self.assertEqual(run("store", "find", "--cord", "none", store).returncode, 1)
        lines = run("store", "export", "--format", "ndjson", store).stdout.splitlines()
        self.assertEqual(len(lines), 4)
        self.assertEqual(json.loads(lines[1])["record"]["schema"], "endgrade.result/1")
        table = list(csv.DictReader(run("store", "export", store).stdout.splitlines()))
        self.assertEqual([row["cord"] for row in table], ["c00", "c00", "c01", "c01"])
        self.assertEqual(run("store", "verify", store).returncode, 0)
        with sqlite3.connect(store) as database:
            database.execute("DROP TRIGGER photograph_keeps_its_values")
            database.execute("UPDATE photograph SET verdict = 'pass' WHERE verdict = 'fail'")
        edited = run("store", "verify", store)
        self.assertEqual(edited.returncode, 1)
        self.assertIn("row 2 (c00-B.png) is not as it was written", edited.stderr)
        refused = self.grade()
        self.assertEqual(refused.returncode, 2)
        self.assertIn("was edited", refused.stderr)

    def test_studies_repeated_photographs(self):
        number = 0
        for rater in ("ada", "ben"):
            for face, picture in (("f1", self.clean), ("f2", self.dirty)):
                for trial in (1, 2):
                    number += 1
                    save(picture, self.lot / rater / f"{face}-{trial}.png", number)
        done = run("study", "--limits", "sm-upc", "--json", "--out", self.home / "out", self.lot)
        self.assertEqual(done.returncode, 0, done.stderr)
        study = json.loads(done.stdout)
        self.assertEqual(study["raters"], ["ada", "ben"])
        self.assertEqual(study["agreement"]["all_agree"], 1.0)  # the same pixels each time
        self.assertEqual(study["agreement"]["fleiss_kappa"], 1.0)
        (self.lot / "ben/f2-2.png").unlink()
        (self.home / "out/study.sqlite").unlink()
        done = run("study", "--limits", "sm-upc", "--json", "--out", self.home / "out", self.lot)
        self.assertEqual(done.returncode, 3)
        self.assertTrue(any("f2" in note for note in json.loads(done.stdout)["notes"]))


if __name__ == "__main__":
    unittest.main()
