"""The command `endgrade grade` as a script sees it: exit codes, order, files, odd names, bad files."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import faces  # noqa: E402

ENDGRADE = os.environ["ENDGRADE"]


def run(*arguments, cwd=None, **more):
    """Runs `endgrade grade`, with limits unless told otherwise. Output as bytes: names may be any."""
    limits = [] if "--limits" in arguments else ["--limits", "sm-upc"]
    return subprocess.run([ENDGRADE, "grade", *limits, *arguments], cwd=cwd, capture_output=True,
                          timeout=120, check=False, **more)


def records(text):
    return [json.loads(line) for line in text.splitlines()]


def without_times(text):
    return re.sub(rb'"timing_ms":\{[^}]*\}', b"", text)


class GradeTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.store = tempfile.TemporaryDirectory()
        stored = Path(cls.store.name)
        faces.clean().save(stored / "clean.png")
        faces.dirty().save(stored / "dirty.png")
        faces.empty().save(stored / "empty.png")

    @classmethod
    def tearDownClass(cls):
        cls.store.cleanup()

    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.work = Path(folder.name)
        self.inputs = self.work / "in"
        self.inputs.mkdir()

    def put(self, kind, name):
        """A picture of the kind under the name (text or bytes), in the input folder."""
        target = os.path.join(os.fsencode(self.inputs), os.fsencode(name))
        os.makedirs(os.path.dirname(target), exist_ok=True)
        shutil.copyfile(Path(self.store.name) / f"{kind}.png", target)
        return target

    # Exit codes: design.md, "The command line".

    def test_all_pass_is_0(self):
        done = run(self.put("clean", "a.png"))
        self.assertEqual(done.returncode, 0, done.stdout + done.stderr)

    def test_some_fail_is_1_even_where_others_cannot_be_graded(self):
        self.put("clean", "a.png"), self.put("dirty", "b.png"), self.put("empty", "c.png")
        self.assertEqual(run(self.inputs).returncode, 1)

    def test_none_fail_but_some_cannot_be_graded_is_3(self):
        self.put("clean", "a.png"), self.put("empty", "c.png")
        self.assertEqual(run(self.inputs).returncode, 3)

    def test_an_unreadable_picture_is_2_and_costs_the_others_nothing(self):
        (self.inputs / "b.png").write_bytes(b"not a picture")
        (self.inputs / "c.png").write_bytes(b"")
        (self.inputs / "d.png").write_bytes((Path(self.store.name) / "clean.png").read_bytes()[:999])
        self.put("dirty", "a.png"), self.put("clean", "e.png")
        done = run("--json", self.inputs)
        self.assertEqual(done.returncode, 2)
        found = records(done.stdout)
        self.assertEqual([Path(r["image"]["path"]).name for r in found],
                         ["a.png", "b.png", "c.png", "d.png", "e.png"])
        self.assertEqual([r["verdict"] for r in found],
                         ["fail", "ungradable", "ungradable", "ungradable", "pass"])
        for bad in found[1:4]:
            self.assertEqual(bad["reasons"][0]["code"], "unreadable")
            self.assertEqual(bad["fibres"], [])
        lines = done.stderr.splitlines()
        self.assertEqual(len(lines), 3, "one line each: %r" % done.stderr)
        for name, line in zip([b"b.png", b"c.png", b"d.png"], lines):
            self.assertIn(name, line)

    def test_a_missing_file_is_2_and_has_its_record(self):
        done = run("--json", self.inputs / "gone.png", self.put("clean", "a.png"))
        self.assertEqual(done.returncode, 2)
        self.assertEqual([r["verdict"] for r in records(done.stdout)], ["ungradable", "pass"])

    def test_an_empty_folder_is_2(self):
        done = run(self.inputs)
        self.assertEqual((done.returncode, done.stdout), (2, b""))
        self.assertIn(b"no picture", done.stderr)

    def test_usage_is_2(self):
        picture = self.put("clean", "a.png")
        for wrong in [["--um-per-px", "0"], ["--um-per-px", "nan"], ["--um-per-px", "x"],
                      ["--threads", "0"], ["--decision", "kind"], ["--overlay", "png"],
                      ["--out", self.work / "o", "--overlay", "gif"], ["--max-file-mb", "-1"],
                      ["--max-megapixels", "nan"], ["--limits", "no-such"], ["--no-such"]]:
            with self.subTest(wrong=wrong):
                done = run(*wrong, picture)
                self.assertEqual((done.returncode, done.stdout), (2, b""))
                self.assertNotEqual(done.stderr, b"")
        self.assertEqual(run().returncode, 2)

    def test_without_limits_it_refuses_and_names_them(self):
        done = subprocess.run([ENDGRADE, "grade", self.put("clean", "a.png")],
                              capture_output=True, check=False)
        self.assertEqual((done.returncode, done.stdout), (2, b""))
        for limits in [b"sm-upc", b"sm-pc", b"sm-apc", b"mm-pc"]:
            self.assertIn(limits, done.stderr)

    def test_a_stdout_that_takes_nothing_is_2(self):
        with open("/dev/full", "wb") as full:
            done = subprocess.run([ENDGRADE, "grade", "--limits", "sm-upc",
                                   self.put("clean", "a.png")], stdout=full, check=False,
                                  stderr=subprocess.PIPE)
        self.assertEqual(done.returncode, 2)
        self.assertIn(b"standard output", done.stderr)

    # Order and threads.

    def test_same_bytes_at_one_thread_and_many(self):
        for i in range(12):
            self.put(["clean", "dirty", "empty"][i % 3], f"{i:02}.png")
        (self.inputs / "05b.png").write_bytes(b"not a picture")
        outputs = {}
        for threads in ["1", "2", "5"]:
            out = self.work / f"out-{threads}"
            done = run("--json", "--threads", threads, "--out", out, self.inputs)
            self.assertEqual(done.stdout, (out / "results.ndjson").read_bytes())
            outputs[threads] = without_times(done.stdout)
            overlays = sorted(p.name for p in (out / "overlays").iterdir())
            self.assertEqual(overlays, [f"{i:02}.png" for i in range(12)])
        self.assertEqual(outputs["1"], outputs["2"])
        self.assertEqual(outputs["1"], outputs["5"])
        paths = [r["image"]["path"] for r in records(outputs["1"].replace(b',}', b'}'))]
        self.assertEqual(paths, sorted(paths))

    def test_records_do_not_depend_on_whether_an_overlay_is_drawn(self):
        picture = self.put("dirty", "a.png")
        plain = run("--json", picture).stdout
        drawn = run("--json", "--out", self.work / "out", picture).stdout
        self.assertEqual(without_times(plain), without_times(drawn))

    def test_named_files_come_out_in_the_order_given(self):
        b, a = self.put("clean", "b.png"), self.put("dirty", "a.png")
        found = records(run("--json", b, a).stdout)
        self.assertEqual([r["verdict"] for r in found], ["pass", "fail"])

    # Names.

    def test_odd_names(self):
        names = [b"new\nline.png", b"not-utf8-\xff.png", b"-dash.png", b"esc\x1b[2J.png",
                 b"'quote\".png", "größe.png".encode(), b"[a,b]"]
        for name in names:
            self.put("clean", name)
        out = self.work / "out"
        done = run("--json", "--out", out, "--", *names, cwd=self.inputs)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(len(records(done.stdout)), len(names))
        self.assertEqual(len(list((out / "overlays").iterdir())), len(names))
        words = run("--", *names, cwd=self.inputs).stdout
        self.assertNotIn(b"\x1b", words)
        self.assertNotIn(b"new\nline", words)

    def test_a_bad_file_with_an_odd_name_still_gets_one_line(self):
        name = os.path.join(os.fsencode(self.inputs), b"new\nline\x1b.png")
        with open(name, "wb") as file:
            file.write(b"not a picture")
        done = run("--json", name)
        self.assertEqual(done.returncode, 2)
        self.assertEqual(done.stderr.count(b"\n"), 1)
        self.assertNotIn(b"\x1b", done.stderr)
        self.assertEqual(len(records(done.stdout)), 1)

    def test_folders_that_are_called_like_a_verb_or_a_list(self):
        for name in ["limits", "render", "[lot,1]"]:
            self.put("clean", f"{name}/a.png")
        done = run("--json", "limits", "render", "[lot,1]", cwd=self.inputs)
        self.assertEqual((done.returncode, len(records(done.stdout))), (0, 3), done.stderr)

    def test_same_names_in_two_folders_give_two_overlays(self):
        self.put("clean", "lot-a/1.png"), self.put("dirty", "lot-b/1.png")
        run("--out", self.work / "out", self.inputs)
        self.assertEqual(len(list((self.work / "out/overlays").iterdir())), 2)

    # Output.

    def test_nothing_is_written_beside_the_input_and_no_input_changes(self):
        self.put("clean", "a.png"), self.put("dirty", "sub/b.png")

        def state():
            return {p: (p.stat().st_mtime_ns, p.read_bytes() if p.is_file() else b"")
                    for p in self.inputs.rglob("*")}
        before = state()
        run("--out", self.work / "out", self.inputs)
        run("--json", self.inputs, cwd=self.inputs)
        for wrong in [self.inputs, self.inputs / "out", self.inputs / "sub"]:
            done = run("--out", wrong, self.inputs)
            self.assertEqual((done.returncode, done.stdout), (2, b""))
        self.assertEqual(state(), before)

    def test_an_output_folder_that_cannot_be_written_is_2_before_any_work(self):
        (self.work / "plain").write_text("")
        for out in [self.work / "plain" / "out", "/proc/endgrade-out"]:
            done = run("--out", out, self.put("clean", "a.png"))
            self.assertEqual((done.returncode, done.stdout), (2, b""))
            self.assertEqual(done.stderr.count(b"\n"), 1)

    def test_an_overlay_that_cannot_be_written_is_2_and_the_records_stand(self):
        out = self.work / "out"
        (out / "overlays" / "a.png").mkdir(parents=True)
        done = run("--out", out, self.put("clean", "a.png"), self.put("clean", "b.png"))
        self.assertEqual(done.returncode, 2)
        self.assertIn(b"a.png", done.stderr)
        self.assertEqual(len(records((out / "results.ndjson").read_bytes())), 2)
        self.assertTrue((out / "overlays" / "b.png").is_file())

    def test_overlay_kinds(self):
        picture = self.put("clean", "a.png")
        for kind, start in [("png", b"\x89PNG"), ("jpg", b"\xff\xd8\xff")]:
            run("--out", self.work / kind, "--overlay", kind, picture)
            written = self.work / kind / "overlays" / f"a.{kind}"
            self.assertTrue(written.read_bytes().startswith(start))
        run("--out", self.work / "none", "--overlay", "none", picture)
        self.assertEqual([p.name for p in (self.work / "none").iterdir()], ["results.ndjson"])

    def test_ctrl_c_keeps_whole_lines_and_older_results(self):
        out = self.work / "out"
        first = run("--json", "--out", out, "--overlay", "none", self.put("clean", "000.png"))
        for i in range(400):
            self.put("dirty", f"{i:03}.png")
        process = subprocess.Popen([ENDGRADE, "grade", "--limits", "sm-upc", "--threads", "2",
                                    "--out", out, "--overlay", "none", self.inputs],
                                   stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        process.stdout.readline()
        time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=60)
        self.assertEqual(process.returncode, -signal.SIGINT)
        self.assertIn(b"stopped after", errors)
        self.assertEqual((out / "results.ndjson").read_bytes(), first.stdout)
        partial = (out / "results.ndjson.partial").read_bytes()
        self.assertTrue(partial.endswith(b"\n"))
        self.assertTrue(0 < len(records(partial)) < 400)

    def test_stderr_that_is_no_terminal_stays_empty(self):
        self.put("clean", "a.png"), self.put("dirty", "b.png")
        self.assertEqual(run(self.inputs).stderr, b"")

    # Options that change what is graded.

    def test_pictures_over_the_bounds_are_refused_not_opened(self):
        picture = self.put("clean", "a.png")
        self.assertEqual(run("--max-megapixels", "0.4", picture).returncode, 2)
        self.assertEqual(run("--max-megapixels", "0.49", picture).returncode, 0)
        self.assertEqual(run("--max-file-mb", "0.01", picture).returncode, 2)

    def test_a_given_scale_stands_in_the_record(self):
        scale = 125 / (2 * faces.CLADDING_RADIUS_PX)
        done = run("--json", "--um-per-px", f"{scale:.5f}", self.put("clean", "a.png"))
        fibre = records(done.stdout)[0]["fibres"][0]
        self.assertEqual(fibre["scale_source"], "given")
        self.assertAlmostEqual(fibre["um_per_px"], scale, places=4)


if __name__ == "__main__":
    unittest.main()
