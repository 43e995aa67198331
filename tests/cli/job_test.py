"""Jobs from the command line: made, filled, killed, copied, reported, signed, changed, verified."""

import hashlib
import json
import os
import pathlib
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import unittest

import faces
from PIL import PngImagePlugin

ENDGRADE = os.environ["ENDGRADE"]
SOURCE = pathlib.Path(os.environ["ENDGRADE_SOURCE_DIR"])
SIZE_PX = (240, 180)

sys.path.insert(0, str(SOURCE / "scripts"))
import flip_job  # noqa: E402


def run(*arguments, **options):
    return subprocess.run([ENDGRADE, *map(str, arguments)], capture_output=True, text=True,
                          check=False, **options)


class JobTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.pictures = {"clean": faces.clean(), "dirty": faces.dirty(), "empty": faces.empty()}
        cls.number = 0
        cls.master = None

    def setUp(self):
        temporary = tempfile.TemporaryDirectory()
        self.addCleanup(temporary.cleanup)
        self.home = pathlib.Path(temporary.name)
        self.job = self.home / "job"

    def photograph(self, kind, name):
        """Small, and with a comment of its own, so that no two files are the same."""
        type(self).number += 1
        comment = PngImagePlugin.PngInfo()
        comment.add_text("number", str(self.number))
        path = self.home / name
        path.parent.mkdir(parents=True, exist_ok=True)
        self.pictures[kind].resize(SIZE_PX).save(path, pnginfo=comment)
        return path

    def new(self, ports="01,02", *more):
        done = run("job", "new", self.job, "--limits", "sm-upc", "--who", "Tester",
                   "--camera", "A scope", "--panel", "P1", "--ports", ports, *more)
        self.assertEqual((done.returncode, done.stderr), (0, ""))

    def add(self, *arguments, expect=None):
        done = run("job", "add", self.job, *arguments)
        if expect is not None:
            self.assertEqual(done.returncode, expect, done.stdout + done.stderr)
        return done

    def status(self):
        done = run("job", "status", "--json", self.job)
        self.assertTrue(done.stdout, done.stderr)
        return done.returncode, json.loads(done.stdout)

    def verify(self, *arguments, expect):
        done = run("verify", *arguments, self.job)
        self.assertEqual(done.returncode, expect, done.stdout + done.stderr)
        return done

    def one_line(self, done, *words):
        self.assertEqual(done.returncode, 2, done.stdout + done.stderr)
        self.assertEqual(len(done.stderr.strip().splitlines()), 1, done.stderr)
        for word in words:
            self.assertIn(word, done.stderr)

    def filled(self):
        """Two ports: the first ready after a cleaning of side A, the second failing. Made once."""
        if self.master is None:
            self.fill()
            type(self).master = tempfile.TemporaryDirectory()
            self.addClassCleanup(self.master.cleanup)
            shutil.copytree(self.job, pathlib.Path(self.master.name) / "job")
        else:
            shutil.copytree(pathlib.Path(self.master.name) / "job", self.job)

    def fill(self):
        self.new()
        self.add("--port", "01", "--side", "A", self.photograph("dirty", "a1.png"),
                 self.photograph("clean", "a2.png"), expect=1)
        self.add("--port", "01", "--side", "B", self.photograph("clean", "b.png"), expect=0)
        self.add(self.photograph("dirty", "02-A.png"), expect=1)
        note = self.home / "loss.csv"
        note.write_text("0.21 dB\n")
        self.assertEqual(run("job", "attach", self.job, "01", note).returncode, 0)

    def test_a_pair_is_ready_only_when_both_sides_pass(self):
        self.new("01")
        self.assertEqual(self.status()[0], 3)
        self.add("--port", "01", "--side", "A", self.photograph("dirty", "x.png"), expect=1)
        code, status = self.status()
        self.assertEqual((code, status["ports"][0]["state"]), (1, "not ready"))
        self.add("--port", "P1/01", "--side", "A", self.photograph("clean", "y.png"), expect=0)
        code, status = self.status()
        self.assertEqual((code, status["ports"][0]["state"]), (3, "to inspect"))
        self.add("--port", "01", "--side", "B", self.photograph("clean", "z.png"), expect=0)
        code, status = self.status()
        self.assertEqual((code, status["ready"]), (0, 1))
        side_a = status["ports"][0]["faces"][0]
        self.assertEqual([p["verdict"] for p in side_a["photographs"]], ["fail", "pass"])
        self.assertEqual([p["attempt"] for p in side_a["photographs"]], [1, 2])
        self.assertEqual(side_a["photographs"][0]["who"], "Tester")

    def test_an_ungradable_face_is_still_to_inspect(self):
        self.new("01", "--sides", "A")
        self.add("--port", "01", self.photograph("empty", "x.png"), expect=3)
        self.assertEqual(self.status()[1]["ports"][0]["faces"][0]["state"], "cannot be graded")

    def test_names_tell_port_side_and_attempt(self):
        self.new()
        folder = self.home / "in"
        self.photograph("clean", "in/02-A-2.png")
        self.photograph("dirty", "in/02-A.png")
        done = self.add(folder, expect=1)
        self.assertEqual(re.findall(r"(\S+): P1 / 02, side A, attempt (\d): (\w+)", done.stdout),
                         [(str(folder / "02-A.png"), "1", "fail"),
                          (str(folder / "02-A-2.png"), "2", "pass")])

    def test_a_face_that_fails_after_all_cleanings_is_rejected(self):
        self.new("01", "--sides", "A")
        self.add("--port", "01", *[self.photograph("dirty", f"{i}.png") for i in range(6)], expect=1)
        self.assertEqual(self.status()[1]["ports"][0]["faces"][0]["state"], "rejected")

    def test_photographs_are_kept_by_hash_as_they_were(self):
        self.new("07", "--site", "Pier hall", "--cabinet", "C 2")
        source = self.photograph("clean", "any name.png")
        before = source.read_bytes()
        self.add("--port", "07", "--side", "A", source, expect=0)
        kept = list((self.job / "photographs").rglob("*.png"))
        digest = hashlib.sha256(before).hexdigest()
        self.assertEqual([path.relative_to(self.job).as_posix() for path in kept],
                         [f"photographs/Pier_hall/C_2/P1/07/A/f1/{digest}.png"])
        self.assertEqual(kept[0].read_bytes(), before)
        self.assertEqual(source.read_bytes(), before)

    def test_a_job_is_a_folder_that_can_be_copied(self):
        self.fill()
        copy = self.home / "stick" / "elsewhere"
        shutil.copytree(self.job, copy)
        shutil.rmtree(self.job)
        self.job = copy
        self.verify(expect=0)
        self.add("--port", "02", "--side", "A", self.photograph("clean", "q.png"), expect=0)
        self.verify(expect=0)
        for path in [self.job / "job.toml", self.job / "manifest.json"]:
            self.assertNotIn(str(self.home), path.read_text())
        with sqlite3.connect(self.job / "job.sqlite") as database:
            for row in database.execute("SELECT path, record FROM photograph"):
                self.assertNotIn(str(self.home), " ".join(row))
        schema = SOURCE / "tests" / "cli" / "endgrade.result-1.schema.json"
        import jsonschema
        with sqlite3.connect(self.job / "job.sqlite") as database:
            for (record,) in database.execute("SELECT record FROM photograph"):
                jsonschema.validate(json.loads(record), json.loads(schema.read_text()))

    def test_the_same_picture_again_is_no_new_attempt_and_stands_for_one_face_only(self):
        self.new()
        picture = self.photograph("clean", "x.png")
        self.add("--port", "01", "--side", "A", picture, expect=0)
        self.assertIn("was there already", self.add("--port", "01", "--side", "A", picture,
                                                    expect=0).stdout)
        self.one_line(self.add("--port", "01", "--side", "B", picture), "the very same picture",
                      "side A")

    def test_what_cannot_be_taken_is_one_line_and_costs_the_others_nothing(self):
        self.new()
        good = self.photograph("clean", "01-A.png")
        broken = self.home / "01-B.png"
        broken.write_bytes(good.read_bytes()[:200])
        odd = self.photograph("clean", "holiday.png")
        done = self.add(broken, odd, self.home / "02-A.png", good)
        self.assertEqual(done.returncode, 2)
        lines = done.stderr.strip().splitlines()
        self.assertEqual(len(lines), 3, done.stderr)
        for name in ["01-B.png", "holiday.png", "02-A.png"]:
            self.assertEqual(sum(name in line for line in lines), 1, done.stderr)
        self.assertIn("side A, attempt 1: pass", done.stdout)
        self.assertEqual(len(list((self.job / "photographs").rglob("*.png"))), 1)
        self.verify(expect=0)
        self.one_line(self.add("--port", "99", "--side", "A", good), "99", "job.toml")
        self.one_line(self.add("--port", "01", "--side", "C", good), "no side", "A, B")

    def test_kill_9_loses_nothing_and_the_same_command_goes_on(self):
        self.new("01..08", "--sides", "A")
        pictures = [self.photograph("dirty" if i % 3 == 0 else "clean", f"in/{i + 1:02d}-A.png")
                    for i in range(8)]
        chance = random.Random(20261128)
        told = set()
        kills = 0
        for wait_for in [0, 1, 2, 1, 1]:  # lines, not seconds: a fast machine is done in no time
            process = subprocess.Popen([ENDGRADE, "job", "add", self.job, self.home / "in"],
                                       stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
            text = ""
            for line in process.stdout if wait_for else []:
                text += line
                wait_for -= "was there already" not in line
                if not wait_for:
                    break
            time.sleep(chance.uniform(0, 0.02))
            process.kill()
            text += process.communicate()[0]
            kills += process.returncode == -signal.SIGKILL
            told |= set(re.findall(r"P1 / (\d\d), side A, attempt 1: \w+\n", text))
            states = {p["port"] for p in self.status()[1]["ports"] if p["state"] != "to inspect"}
            self.assertLessEqual(told, states, "what was said to be added is there")
        self.assertGreater(kills, 0)
        self.add(self.home / "in", expect=1)
        self.verify(expect=0)
        code, status = self.status()
        self.assertEqual([len(p["faces"][0]["photographs"]) for p in status["ports"]], [1] * 8)
        self.assertEqual(len(list((self.job / "photographs").rglob("*.png"))), len(pictures))
        self.assertEqual(list(self.job.rglob("*.partial")), [])

    def test_one_writer_at_a_time(self):
        self.filled()
        import fcntl
        with open(self.job / "job.sqlite.lock", "r+") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            self.one_line(self.add("--port", "01", "--side", "A", self.photograph("clean", "n.png")),
                          "another run is writing")
            self.one_line(run("verify", self.job), "another command is writing")
            self.assertEqual(self.status()[0], 1, "reading goes on")
        self.verify(expect=0)

    def test_every_flipped_bit_is_found(self):
        self.filled()
        run("job", "report", self.job)
        run("key", "new", "--out", self.home / "key.pem")
        self.assertEqual(run("job", "sign", "--key", self.home / "key.pem", self.job).returncode, 0)
        self.verify(expect=0)
        missed = flip_job.try_flips(ENDGRADE, self.job, 30, 20261128)
        self.assertEqual(missed, [])
        self.verify("--no-grade", expect=0)

    def test_rows_that_were_changed_with_their_manifest_are_found(self):
        self.filled()
        missed = flip_job.try_edits(ENDGRADE, self.job, self.home / "edited")
        self.assertEqual(missed, [])

    def test_links_are_refused_and_seen(self):
        self.filled()
        outside = self.home / "outside"
        outside.mkdir()
        (self.job / "photographs" / "_" / "_" / "P1" / "02" / "B").symlink_to(outside)
        done = self.add("--port", "02", "--side", "B", self.photograph("clean", "l.png"))
        self.one_line(done, "is a link")
        self.assertEqual(list(outside.iterdir()), [])
        self.assertIn("link", self.verify("--no-grade", expect=1).stderr)
        job_file = self.job / "job.toml"
        job_file.write_text(job_file.read_text().replace('"sm-upc"', '"../../limits.toml"'))
        self.one_line(self.add("--port", "01", "--side", "A", self.photograph("clean", "m.png")),
                      "leads out")

    def test_a_changed_job_file_is_noted_by_the_next_command(self):
        self.filled()
        job_file = self.job / "job.toml"
        job_file.write_text(job_file.read_text().replace('who = "Tester"', 'who = "Another"'))
        self.assertIn("job.toml was changed", self.verify("--no-grade", expect=1).stderr)
        self.add("--port", "02", "--side", "B", self.photograph("clean", "n.png"), expect=0)
        self.verify("--no-grade", expect=0)
        faces_of_02 = self.status()[1]["ports"][1]["faces"]
        self.assertEqual([f["photographs"][0]["who"] for f in faces_of_02], ["Tester", "Another"])

    def test_limits_stay_those_that_the_job_began_with(self):
        zones = self.home / "zones"
        shutil.copytree(SOURCE / "zones", zones)
        environment = {**os.environ, "ENDGRADE_ZONES": str(zones)}
        self.new("01", "--sides", "A")
        upc = next(zones.rglob("sm-upc.toml"))
        upc.write_text(upc.read_text() + "\n# another edition\n")
        done = run("job", "add", self.job, "--port", "01", self.photograph("clean", "n.png"),
                   env=environment)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(len(list((self.job / "limits").iterdir())), 1)
        self.assertEqual(run("verify", self.job, env=environment).returncode, 0)

    def test_limits_of_ones_own_are_kept_with_those_they_build_on(self):
        self.job.mkdir()
        shutil.copy(SOURCE / "zones/house/house-example.toml", self.job)
        (self.job / "job.toml").write_text(
            'schema = "endgrade.job/1"\nname = "n"\nwho = "w"\ncamera = "c"\n[limits]\n'
            'default = "house-example.toml"\n[[panel]]\nports = ["1"]\nsides = ["A"]\n')
        self.assertEqual(run("job", "new", self.job).returncode, 0)
        self.add("--port", "1", self.photograph("clean", "n.png"))
        kept = sorted(path.name for path in (self.job / "limits").rglob("*.toml"))
        self.assertEqual(len(kept), 2, kept)
        self.verify(expect=0)
        own = self.job / "house-example.toml"
        own.write_text(own.read_text() + "# changed on purpose\n")
        self.verify("--no-grade", expect=1)
        self.add("--port", "1", self.photograph("clean", "m.png"))
        self.assertEqual(len(list((self.job / "limits").iterdir())), 2)
        self.verify(expect=0)

    def test_a_newer_store_or_manifest_is_one_line(self):
        self.filled()
        manifest = self.job / "manifest.json"
        manifest.write_text(manifest.read_text().replace("job-manifest/1", "job-manifest/2"))
        self.one_line(run("verify", self.job), "job-manifest/2", "newer endgrade")
        manifest.write_text(manifest.read_text().replace("job-manifest/2", "job-manifest/1"))
        with sqlite3.connect(self.job / "job.sqlite") as database:
            database.execute("PRAGMA user_version = 99")
        flip_job.write_manifest(self.job)
        self.one_line(run("verify", self.job), "version 99")
        self.one_line(self.add("--port", "01", "--side", "A", self.photograph("clean", "n.png")),
                      "version 99")

    def test_no_job_is_one_line(self):
        self.one_line(run("verify", self.home), "no job")
        self.one_line(run("job", "status", self.home), "no job")
        self.one_line(run("job", "add", self.home, "x.png"), "no job")
        self.new()
        self.one_line(run("job", "new", self.job, "--limits", "sm-upc", "--who", "w", "--camera",
                          "c", "--ports", "1"), "already")

    def test_a_signature_says_whose_key_and_how_much_it_covers(self):
        self.filled()
        key, other = self.home / "key.pem", self.home / "other.pem"
        (self.home / "word").write_text("a long one\n")
        self.assertEqual(run("key", "new", "--out", other).returncode, 0)
        done = run("key", "new", "--out", key, "--passphrase-file", self.home / "word")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(key.stat().st_mode & 0o777, 0o600)
        fingerprint = run("key", "show", f"{key}.pub").stdout.strip()
        self.assertIn(fingerprint, done.stdout)
        self.one_line(run("job", "sign", "--key", key, self.job, stdin=subprocess.DEVNULL),
                      "passphrase")
        done = run("job", "sign", "--key", key, "--passphrase-file", self.home / "word", self.job)
        self.assertEqual(done.returncode, 0, done.stderr)
        done = self.verify("--no-grade", "--signer", f"{key}.pub", expect=0)
        self.assertIn(fingerprint, done.stdout)
        self.assertIn("covers all of this job", done.stdout)
        self.assertIn("not who it was", done.stdout)
        done = self.verify("--no-grade", "--signer", f"{other}.pub", expect=1)
        self.assertIn("has not signed", done.stderr)
        self.add("--port", "02", "--side", "B", self.photograph("clean", "n.png"), expect=0)
        self.assertIn("the first 4 of 5 photographs", self.verify("--no-grade", expect=0).stdout)
        self.verify("--no-grade", "--signer", f"{key}.pub", expect=1)
        self.assertTrue(run("key", "new", "--out", key).stderr.count("never written over"))

    def test_an_openssl_command_agrees_on_the_signature(self):
        """`openssl pkeyutl` (Debian's openssl) checks what was signed, by what README says is."""
        if shutil.which("openssl") is None:
            self.skipTest("no openssl command")
        self.filled()
        key = self.home / "key.pem"
        run("key", "new", "--out", key)
        run("job", "sign", "--key", key, self.job)
        kept = json.loads((self.job / "signatures" / "0001.json").read_text())
        message, signature = self.home / "message", self.home / "signature"
        message.write_text("endgrade.signature/1\n" +
                           json.dumps(kept["statement"], separators=(",", ":")))
        signature.write_bytes(bytes.fromhex(kept["signature"]))
        done = subprocess.run(["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", f"{key}.pub",
                               "-rawin", "-in", message, "-sigfile", signature],
                              capture_output=True, text=True, check=False)
        self.assertIn("Verified Successfully", done.stdout + done.stderr)

    def test_the_report_carries_what_it_says_and_stands_alone(self):
        self.filled()
        done = run("job", "report", self.job)
        self.assertEqual(done.returncode, 1, done.stderr)
        page = (self.job / "report" / "report.html").read_text()
        for words in ["1 of 2 ports are ready", "What cleaning did: 1 gone", "Next:", "Tester", "A scope", "loss.csv", "Insertion loss",
                      "never look into a fibre", "sm-upc"]:
            self.assertIn(words, page)
        self.assertEqual(page.count("Attached, kept as it came"), 1, "only where there is something")
        self.assertIsNone(re.search(r"(?:src|href)=\"(?!data:|#)", page))
        self.verify("--no-grade", expect=0)
        done = run("verify", "--photograph", self.home, self.job / "report" / "report.html")
        self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
        self.assertEqual(done.stdout.count("the same record"), 4)
        (self.home / "elsewhere").mkdir()
        done = run("job", "report", "--out", self.home / "elsewhere", self.job)
        self.assertEqual((self.home / "elsewhere" / "report.html").read_text(), page)
        done = run("job", "report", "--pdf", self.job, env={**os.environ, "PATH": "/nowhere",
                                                            "ENDGRADE_BROWSER": ""})
        self.one_line(done, "chromium", "ENDGRADE_BROWSER")
        self.verify("--no-grade", expect=0)

    def test_text_of_strangers_stays_text(self):
        self.new("01", "--sides", "A", "--name", "<script>alert(1)</script>")
        self.add("--port", "01", "--who", "\"><img src=x>", self.photograph("clean", "n.png"),
                 expect=0)
        note = self.home / "<b>&.txt"
        note.write_text("</script><script>alert(2)</script>")
        run("job", "attach", self.job, "01", note)
        run("job", "report", self.job)
        page = (self.job / "report" / "report.html").read_text()
        self.assertNotIn("<script>", page)
        self.assertNotIn("<img src=x>", page)
        self.assertNotIn("<b>", page)

    def test_an_overlay_is_held_against_its_photograph(self):
        picture = self.photograph("dirty", "p.png")
        for kind in ["png", "jpg"]:
            out = self.home / kind
            run("grade", "--limits", "sm-upc", "--overlay", kind, "--out", out, picture)
            overlay = out / "overlays" / f"p.png.{kind}"
            if not overlay.exists():
                overlay = next((out / "overlays").iterdir())
            done = run("verify", "--photograph", picture, overlay)
            self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
            self.assertIn("byte for byte", done.stdout)
            other = self.photograph("dirty", "other.png")
            done = run("verify", "--photograph", other, overlay)
            self.assertEqual(done.returncode, 1)
            self.assertIn("not the photograph of this record", done.stderr)
            moved = self.home / "moved.png"
            picture.rename(moved)
            done = run("verify", overlay)
            self.assertEqual(done.returncode, 3, done.stdout + done.stderr)
            self.assertIn("--photograph", done.stdout)
            moved.rename(picture)
        self.one_line(run("verify", picture), "carries no record")
        self.one_line(run("verify", self.home / "gone.png"), "gone.png")


if __name__ == "__main__":
    unittest.main()
