"""What goes wrong around a run: disks, permissions, odd files, memory, kills. The long one of these
is scripts/bench-faults.sh."""

import json
import os
import random
import resource
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import faults  # noqa: E402

ENDGRADE = os.environ["ENDGRADE"]
SHIM = Path(os.environ["ENDGRADE_BINARY_DIR"]) / "tests" / "fault_shim.so"
NUM_PICTURES = 6


def run(*arguments, verb="grade", **more):
    return subprocess.run([ENDGRADE, verb, "--limits", "sm-upc", *arguments], capture_output=True,
                          check=False, timeout=120, **more)


class FaultsTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.work = Path(cls.folder.name)
        cls.work.chmod(0o755)
        cls.photographs = cls.work / "photographs"
        faults.draw(cls.photographs, NUM_PICTURES)

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def setUp(self):
        self.out = Path(tempfile.mkdtemp(dir=self.work))

    def records_of(self, done):
        return [json.loads(line) for line in done.stdout.splitlines()]

    def assert_one_line(self, done, *words):
        self.assertEqual(done.stderr.count(b"\n"), 1, done.stderr)
        for word in words:
            self.assertIn(word, done.stderr)

    @unittest.skipUnless(SHIM.exists(), "a sanitizer has calls of its own in the shim's place")
    def test_calls_that_fail_leave_what_is_right_and_the_next_run_completes_it(self):
        for verb in ("grade", "lot"):
            (self.out / verb).mkdir()
            runs = faults.Faults(ENDGRADE, SHIM, self.photographs, self.out / verb, verb)
            for i, kinds in enumerate([["malloc"], ["kill"], ["write", "flush", "rename"],
                                       ["read", "open"], None, None]):
                runs.round(random.Random(i), 4, kinds)
            self.assertEqual(runs.problems, [])
            self.assertGreater(runs.came_about, 6)

    @unittest.skipUnless(SHIM.exists(), "a sanitizer has calls of its own in the shim's place")
    def test_limits_that_a_disk_fails_to_give_are_not_left_out_of_the_overlay(self):
        (self.out / "grade").mkdir()
        runs = faults.Faults(ENDGRADE, SHIM, self.photographs, self.out / "grade", "grade")
        for which in range(1, 6):  # the first reads are of the limits: to grade by, and to keep
            out = self.out / f"grade/out-{which}"
            done, _ = runs.run(out, f"read:{which}")
            self.assertIn(done.returncode, (runs.code, 2), done.stderr)
            runs.check(out, f"read:{which}", complete=False)
        self.assertEqual(runs.problems, [])

    def test_a_file_size_bound_is_an_error_not_a_signal(self):
        def bound():
            resource.setrlimit(resource.RLIMIT_FSIZE, (3000, 3000))

        for verb in ("grade", "lot"):
            done = run("--out", self.out / verb, self.photographs, verb=verb, preexec_fn=bound)
            self.assertEqual(done.returncode, 2, done.stderr)
            self.assertTrue(done.stderr)
            for name in ("results.ndjson", "report.html"):
                self.assertFalse((self.out / verb / name).exists(), name)

    def test_odd_files_cost_the_good_ones_nothing(self):
        folder = self.out / "in"
        shutil.copytree(self.photographs, folder)
        os.mkfifo(folder / "pipe.png")
        (folder / "loop.png").symlink_to("loop.png")
        (folder / "gone.png").symlink_to("nowhere.png")
        (folder / "device.png").symlink_to("/dev/zero")
        (folder / "folder.png").mkdir()
        (folder / "again").symlink_to(folder)
        plug = socket.socket(socket.AF_UNIX)
        self.addCleanup(plug.close)
        plug.bind(str(folder / "socket.png"))
        done = run("--json", folder)
        records = self.records_of(done)
        self.assertEqual(done.returncode, 2)
        self.assertEqual(len(records), NUM_PICTURES + 5)
        unread = {Path(record["image"]["path"]).name for record in records
                  if faults.is_unread(record)}
        self.assertEqual(unread, {"pipe.png", "loop.png", "gone.png", "device.png", "socket.png"})

    @unittest.skipUnless(os.geteuid() == 0 and shutil.which("setpriv"), "root may do everything")
    def test_permissions_are_told_and_cost_the_others_nothing(self):
        nobody = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", ENDGRADE, "grade",
                  "--limits", "sm-upc"]
        folder = self.out / "in"
        shutil.copytree(self.photographs, folder)
        self.out.chmod(0o755)
        (folder / "cord-0001-A-1.png").chmod(0)
        (folder / "closed").mkdir(mode=0o700)
        (folder / "closed").chmod(0)
        done = subprocess.run([*nobody, "--json", folder], capture_output=True, check=False)
        if b"cannot be executed" in done.stderr or done.returncode == 127:
            self.skipTest("the build folder is closed to others")
        self.assertEqual(done.returncode, 2, done.stderr)
        self.assertEqual(len(self.records_of(done)), NUM_PICTURES)
        self.assertIn(b"may not be read", done.stderr)
        self.assertIn(b"closed: the folder cannot be listed", done.stderr)
        (folder / "closed").rmdir()
        (folder / "cord-0001-A-1.png").chmod(0o644)
        (self.out / "read-only").mkdir(mode=0o555)
        done = subprocess.run([*nobody, "--out", self.out / "read-only" / "results", folder],
                              capture_output=True, check=False)
        self.assertEqual(done.returncode, 2)
        self.assert_one_line(done, b"cannot be written", b"Name a folder")
        self.assertEqual(list((self.out / "read-only").iterdir()), [])

    def test_a_picture_that_changes_meanwhile_is_one_of_its_states(self):
        folder = self.out / "in"
        shutil.copytree(self.photographs, folder)
        states = [(self.photographs / f"cord-000{i}-A-1.png").read_bytes() for i in (1, 3)]
        changing = folder / "cord-0001-A-1.png"
        stop = threading.Event()

        def change():
            while not stop.is_set():
                for state in (*states, b""):
                    changing.write_bytes(state)
                changing.unlink()

        thread = threading.Thread(target=change)
        thread.start()
        try:
            for _ in range(8):
                done = run("--json", changing, folder / "cord-0002-A-1.jpg")
                self.assertIn(done.returncode, (0, 1, 2, 3))
                self.assertEqual(len(self.records_of(done)), 2)
                self.assertFalse(faults.is_unread(self.records_of(done)[1]))
        finally:
            stop.set()
            thread.join()

    @unittest.skipUnless(SHIM.exists(), "a sanitizer has calls of its own in the shim's place")
    def test_a_job_that_was_hit_verifies_once_the_same_command_ran_again(self):
        log = self.out / "faults.log"
        photographs = self.out / "in"
        photographs.mkdir()
        for i, file in enumerate(sorted(self.photographs.iterdir())):
            shutil.copy(file, photographs / f"{i // 2 + 1:02}-{'AB'[i % 2]}-1{file.suffix}")

        def new(name):
            subprocess.run([ENDGRADE, "job", "new", self.out / name, "--limits", "sm-upc",
                            "--who", "w", "--camera", "c", "--ports", "01..03"], check=True,
                           capture_output=True)
            return self.out / name

        def add(job, chosen=None):
            hit = {"LD_PRELOAD": str(SHIM), "ENDGRADE_FAULTS": chosen or "",
                   "ENDGRADE_FAULT_LOG": str(log)} if chosen is not None else {}
            return subprocess.run([ENDGRADE, "job", "add", job, photographs],
                                  env={**os.environ, **hit}, capture_output=True, check=False,
                                  timeout=120)

        def rows_of(job):
            return subprocess.run([ENDGRADE, "store", "export", job / "job.sqlite"], check=True,
                                  capture_output=True).stdout.splitlines()

        reference = new("reference")
        code = add(reference, "").returncode
        counts = {word: int(number)
                  for word, number, *_ in map(str.split, log.read_text().splitlines())}
        came_about = 0
        for seed, kinds in enumerate([["malloc"] * 2, ["malloc"] * 8, ["kill"], ["kill"],
                                      ["write", "flush"], ["rename", "open"], ["read"]]):
            chooser = random.Random(seed)
            chosen = ",".join(f"{kind}:{chooser.randint(1, counts[kind])}" for kind in kinds)
            with self.subTest(faults=chosen):
                log.unlink()
                job = new(f"job-{seed}")
                done = add(job, chosen)
                came_about += sum(line.count(" ") == 1 for line in log.read_text().splitlines())
                self.assertIn(done.returncode, (0, 1, 2, 3, -signal.SIGKILL), done.stderr)
                again = add(job)
                self.assertEqual(again.returncode, code, (done.stderr, again.stderr))
                self.assertEqual(len(rows_of(job)), len(rows_of(reference)))
                verified = subprocess.run([ENDGRADE, "verify", "--no-grade", job],
                                          capture_output=True, check=False)
                self.assertEqual(verified.returncode, 0, verified.stdout + verified.stderr)
        self.assertGreater(came_about, 4)

    @unittest.skipUnless(SHIM.exists(), "a sanitizer has calls of its own in the shim's place")
    def test_a_clock_that_jumps_changes_nothing_but_the_times_in_the_log(self):
        for verb in ("grade", "lot"):
            (self.out / verb).mkdir()
            runs = faults.Faults(ENDGRADE, SHIM, self.photographs, self.out / verb, verb)
            done, _ = runs.run(self.out / verb / "out", "", ENDGRADE_CLOCK="jumps")
            self.assertEqual(done.returncode, runs.code, done.stderr)
            runs.check(self.out / verb / "out", "a clock that jumps", complete=True)
            self.assertEqual(runs.problems, [])
        store = sqlite3.connect(self.out / "lot/out/lot.sqlite")
        years = [int(at[:4]) for at, in store.execute("SELECT at FROM run")]
        store.close()
        self.assertGreater(max(years) - min(years), 30, "the clock did not jump")

    def test_of_two_runs_into_one_folder_both_or_one_are_right(self):
        reference = run("--json", self.photographs)
        expected = [faults.untimed(record) for record in self.records_of(reference)]
        for verb in ("grade", "lot"):
            out = self.out / verb
            both = [subprocess.Popen([ENDGRADE, verb, "--limits", "sm-upc", "--out", out,
                                      self.photographs], stdout=subprocess.PIPE,
                                     stderr=subprocess.PIPE) for _ in range(2)]
            said = [(*one.communicate(timeout=120), one.returncode) for one in both]
            codes = sorted(code for _, _, code in said)
            self.assertIn(reference.returncode, codes, said)
            for _, stderr, code in said:
                if code != reference.returncode:
                    self.assertEqual((code, stderr.count(b"\n")), (2, 1), said)
            self.assertEqual(list(out.rglob(".endgrade-*")), [])
        lines = (self.out / "grade/results.ndjson").read_text().splitlines()
        self.assertEqual([faults.untimed(json.loads(line)) for line in lines], expected)
        verified = subprocess.run([ENDGRADE, "store", "verify", self.out / "lot/lot.sqlite"],
                                  capture_output=True, check=False)
        self.assertEqual(verified.returncode, 0, verified.stderr)

    def test_times_of_any_year_are_as_good(self):
        folder = self.out / "in"
        shutil.copytree(self.photographs, folder)
        for name, seconds in zip(sorted(folder.iterdir()), (-10**10, 0, 2**31, 2**33, 10**11)):
            os.utime(name, (seconds, seconds))
        first = run("--out", self.out / "lot", folder, verb="lot")
        self.assertIn(first.returncode, (0, 1, 3), first.stderr)
        again = run("--out", self.out / "lot", folder, verb="lot")
        self.assertIn(b"0 photographs graded, 6 known already", again.stdout)

    def test_what_could_not_be_read_is_tried_again_and_noted_once(self):
        folder = self.out / "in"
        shutil.copytree(self.photographs, folder)
        lost = folder / "cord-0002-A-1.jpg"
        content = lost.read_bytes()
        lost.unlink()
        os.mkfifo(self.out / "pipe")  # not read, and as old at any time
        lost.symlink_to(self.out / "pipe")
        store = self.out / "lot" / "lot.sqlite"

        def lot():
            return run("--out", self.out / "lot", folder, verb="lot")

        self.assertIn(b"1 could not be read", lot().stdout)
        before = subprocess.run([ENDGRADE, "store", "export", store], capture_output=True,
                                check=True).stdout
        self.assertIn(b"0 photographs graded", lot().stdout)
        again = subprocess.run([ENDGRADE, "store", "export", store], capture_output=True,
                               check=True).stdout
        self.assertEqual(before, again)
        lost.unlink()
        lost.write_bytes(content)
        self.assertIn(b"1 photographs graded", lot().stdout)


if __name__ == "__main__":
    unittest.main()
