"""The commands `endgrade camera learn` and `camera target`, and `grade --camera`, end to end."""

import hashlib
import json
import os
import subprocess
import tempfile
import unittest
from pathlib import Path

import jsonschema
import numpy
from PIL import Image

ENDGRADE = os.environ["ENDGRADE"]
SCHEMA = json.loads((Path(__file__).parent / "endgrade.result-1.schema.json").read_text())
# Of the cladding's centre, pixels from the picture's middle; 95 px are 30 um.
PLACES = [(0, 0), (95, 50), (-90, 65), (70, -85), (-105, -55), (10, 100)]


def run(*arguments):
    return subprocess.run([ENDGRADE, *map(str, arguments)], capture_output=True, text=True,
                          timeout=200, check=False)


def render(folder, name, seed, place, **camera):
    scene = {"seed": seed,
             "camera": {"unit": 7, "width_px": 1050, "height_px": 950, "um_per_px": 0.32,
                        "sensor_dust": 14, "centre_offset_px": list(place), **camera}}
    file = Path(folder) / f"{name}.json"
    file.write_text(json.dumps(scene))
    done = run("render", "--scene", file, "--out", folder)
    assert done.returncode == 0, done.stderr
    file.unlink()
    return Path(folder) / f"{name}.png"


def lines(pitch_px, turn_deg=0.0, shape=(500, 700)):
    """Dark and bright lines, edges a pixel wide, with noise."""
    y, x = numpy.indices(shape, dtype=float)
    turn = numpy.deg2rad(turn_deg)
    phase = ((x * numpy.cos(turn) + y * numpy.sin(turn)) / pitch_px) % 1
    edge = numpy.clip((0.25 - numpy.abs(phase - 0.5)) * pitch_px + 0.5, 0, 1)
    noise = numpy.random.default_rng(1).normal(0, 4, shape)
    return Image.fromarray(numpy.clip(60 + 120 * edge + noise, 0, 255).astype(numpy.uint8))


class CameraTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.store = tempfile.TemporaryDirectory()
        cls.folder = Path(cls.store.name)
        cls.learning = cls.folder / "learning"
        cls.learning.mkdir()
        for i, place in enumerate(PLACES):
            render(cls.learning, f"face-{i}", 9400 + i, place)
        cls.profile = cls.folder / "profiles" / "Bench scope.toml"
        cls.profile.parent.mkdir()
        cls.learnt = run("camera", "learn", "--out", cls.profile, cls.learning)

    @classmethod
    def tearDownClass(cls):
        cls.store.cleanup()

    def grade(self, picture, profile):
        done = run("grade", "--json", "--limits", "sm-upc", "--camera", profile, picture)
        return done, [json.loads(line) for line in done.stdout.splitlines()]

    def test_a_job_keeps_the_profile_that_its_photographs_were_graded_with(self):
        job = self.folder / "job"
        job.mkdir()
        (job / "scope.toml").write_bytes(self.profile.read_bytes())
        (job / "job.toml").write_text(
            'schema = "endgrade.job/1"\nname = "n"\nwho = "w"\ncamera = "c"\n'
            'camera_profile = "scope.toml"\n[limits]\ndefault = "sm-upc"\n'
            '[[panel]]\nports = ["1"]\nsides = ["A"]\n')
        self.assertEqual(run("job", "new", job).returncode, 0)
        done = run("job", "add", "--port", "1", job, self.learning / "face-0.png")
        self.assertIn("side A, attempt 1", done.stdout, done.stderr)
        sha256 = hashlib.sha256(self.profile.read_bytes()).hexdigest()
        kept = job / "cameras" / f"{sha256}.toml"
        self.assertEqual(kept.read_bytes(), self.profile.read_bytes())
        verified = run("verify", job)
        self.assertEqual(verified.returncode, 0, verified.stdout + verified.stderr)
        overlay = next((job / "overlays").rglob("*.jpg"))
        photograph = self.learning / "face-0.png"
        self.assertIn("--camera", run("verify", "--photograph", photograph, overlay).stdout)
        with_camera = run("verify", "--photograph", photograph, "--camera", self.profile, overlay)
        self.assertEqual(with_camera.returncode, 0, with_camera.stdout + with_camera.stderr)
        self.assertIn("byte for byte", with_camera.stdout)
        kept.unlink()
        verified = run("verify", job)
        self.assertEqual(verified.returncode, 1)
        self.assertIn(f"cameras/{sha256}.toml is missing", verified.stderr)

    def test_learning_says_what_it_learnt_and_leaves_one_file(self):
        self.assertEqual((self.learnt.returncode, self.learnt.stderr), (0, ""))
        for word in ["Scale:", "Pixels:", "Fixed dirt:", "Flat field: learnt", "Noise:", "Blur:"]:
            self.assertIn(word, self.learnt.stdout)
        self.assertEqual([p.name for p in self.profile.parent.iterdir()], ["Bench scope.toml"])
        text = self.profile.read_text()
        self.assertIn('schema = "endgrade.camera/1"', text)
        self.assertIn('id = "bench-scope"', text)

    def test_without_out_the_profile_is_on_stdout_and_the_same(self):
        done = run("camera", "learn", "--id", "bench-scope", self.learning)
        self.assertEqual(done.returncode, 0)
        self.assertEqual(done.stdout, self.profile.read_text())
        self.assertIn("Scale:", done.stderr)

    def test_record_says_which_profile_did_what(self):
        done, records = self.grade(self.learning / "face-0.png", self.profile)
        self.assertIn(done.returncode, [0, 1, 3])
        jsonschema.Draft202012Validator(SCHEMA).validate(records[0])
        camera = records[0]["camera"]
        self.assertEqual(camera["id"], "bench-scope")
        self.assertEqual(camera["sha256"], hashlib.sha256(self.profile.read_bytes()).hexdigest())
        self.assertTrue(camera["flat_field"])
        self.assertGreaterEqual(len(camera["removed"]), 1)
        self.assertEqual(records[0]["fibres"][0]["scale_source"], "profile")
        # The truth of the scene.
        self.assertAlmostEqual(records[0]["fibres"][0]["um_per_px"], 0.32,
                               delta=records[0]["fibres"][0]["um_per_px_uncertainty"])

    def test_no_dust_of_the_cameras_is_reported_on_a_clean_face(self):
        new = render(self.folder, "new", 9500, (25, -20))
        _, known = self.grade(new, self.profile)
        done = run("grade", "--json", "--limits", "sm-upc", new)
        plain = json.loads(done.stdout)
        self.assertIsNone(plain["camera"])
        hidden = [r["centre_px"] for r in known[0]["camera"]["removed"] if r["how"] == "hidden"]

        def near(record):
            return [f for f in record["fibres"][0]["features"]
                    if any(numpy.hypot(*numpy.subtract(f["centre_px"], h)) < 6 for h in hidden)]
        self.assertGreaterEqual(len(near(plain)), 1)
        self.assertEqual(near(known[0]), [])
        # What is hidden is not seen: the fraction in view says so.
        self.assertLess(min(z["in_view_fraction"] for z in known[0]["fibres"][0]["zones"]), 1)

    def test_another_picture_size_is_an_error_of_that_picture_only(self):
        odd = self.folder / "odd.png"
        with Image.open(self.learning / "face-0.png") as picture:
            picture.resize((1000, 900)).save(odd)
        done = run("grade", "--json", "--limits", "sm-upc", "--camera", self.profile, odd,
                   self.learning / "face-0.png")
        records = [json.loads(line) for line in done.stdout.splitlines()]
        self.assertEqual(done.returncode, 2)
        self.assertEqual(records[0]["reasons"][0]["code"], "unreadable")
        self.assertIn("1000 x 900", records[0]["reasons"][0]["text"])
        self.assertEqual(len(records[1]["fibres"]), 1)
        self.assertEqual(len(done.stderr.splitlines()), 1)

    def test_a_fibre_that_does_not_move_teaches_no_dirt(self):
        still = self.folder / "still"
        still.mkdir()
        for i in range(3):
            render(still, f"face-{i}", 9600 + i, (2 * i, 1))
        done = run("camera", "learn", "--out", self.folder / "still.toml", still)
        self.assertEqual(done.returncode, 0)
        self.assertRegex(done.stdout, "Fixed dirt: not learnt.*move the fibre")
        self.assertIn("known = false", (self.folder / "still.toml").read_text())

    def test_a_picture_that_tells_nothing_costs_the_others_nothing(self):
        mixed = self.folder / "mixed"
        mixed.mkdir()
        for i in range(4):
            (mixed / f"face-{i}.png").write_bytes((self.learning / f"face-{i}.png").read_bytes())
        Image.new("L", (1050, 950), 90).save(mixed / "empty.png")
        (mixed / "torn.png").write_bytes(b"not a picture")
        out = self.folder / "mixed.toml"
        done = run("camera", "learn", "--out", out, mixed)
        self.assertEqual(done.returncode, 2)
        self.assertEqual(len(done.stderr.splitlines()), 2)
        for name in ["empty.png", "torn.png"]:
            self.assertIn(name, done.stderr)
        self.assertIn("num_pictures = 4", out.read_text())

    def test_a_target_sets_the_scale(self):
        target = self.folder / "target.png"
        lines(10 / 0.32, shape=(950, 1050)).save(target)
        done = run("camera", "target", "--pitch-um", "10", target)
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertRegex(done.stdout, r"1 pixel is 0\.3200\d* um \+/- 0\.0006")
        out = self.folder / "by-target.toml"
        done = run("camera", "learn", "--target", target, "--pitch-um", "10", "--out", out,
                   self.learning)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("from the target", done.stdout)
        self.assertNotIn("Warning", done.stdout)
        self.assertIn('source = "target"', out.read_text())
        wrong = run("camera", "learn", "--target", target, "--pitch-um", "11", self.learning)
        self.assertIn("Warning: by the claddings", wrong.stderr)

    def test_target_agrees_with_a_fourier_transform_of_its_own(self):
        # numpy's FFT, its peak to a fraction of a bin by padding 16 times.
        for pitch_px, turn in [(9.3, 0), (17.77, 12), (6.1, 88)]:
            picture = lines(pitch_px, turn)
            file = self.folder / "turned.png"
            picture.save(file)
            done = run("camera", "target", "--pitch-um", "10", file)
            said = float(done.stdout.split("1 pixel is ")[1].split()[0])
            values = numpy.asarray(picture, float)[:500, :500]
            values = (values - values.mean()) * numpy.outer(numpy.hanning(500), numpy.hanning(500))
            size = 4096
            power = numpy.abs(numpy.fft.rfft2(values, (size, size)))
            power[:60, :60] = power[-60:, :60] = 0
            fy, fx = numpy.unravel_index(power.argmax(), power.shape)
            fy = fy - size if fy > size // 2 else fy
            self.assertAlmostEqual(said / (10 * numpy.hypot(fx, fy) / size), 1, delta=0.003)

    def test_mistakes_are_2_and_named(self):
        bad = self.folder / "bad.toml"
        bad.write_text(self.profile.read_text().replace("width_px = ", "width_px = -"))
        face = self.learning / "face-0.png"
        for arguments, word in [
                (["grade", "--limits", "sm-upc", "--camera", bad, face], "bad.toml:"),
                (["grade", "--limits", "sm-upc", "--camera", "gone.toml", face], "gone.toml"),
                (["explain", "--limits", "sm-upc", "--camera", bad, face], "bad.toml:"),
                (["camera", "learn", face], "only 1"),
                (["camera", "learn", "--id", "Not An ID", self.learning], "--id"),
                (["camera", "learn", "--target", face, self.learning], "--pitch-um"),
                (["camera", "learn", "--out", "/proc/no/x.toml", self.learning], "/proc/no"),
                (["camera", "target", face], "--pitch-um"),
                (["camera", "target", "--pitch-um", "10", face], "face-0.png"),
                (["camera", "lern"], "lern")]:
            with self.subTest(arguments=arguments):
                done = run(*arguments)
                self.assertEqual((done.returncode, done.stdout), (2, ""), done.stdout[:300])
                self.assertIn(word, done.stderr)


if __name__ == "__main__":
    unittest.main()
