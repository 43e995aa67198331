"""The demonstration's pictures are what their scene files describe, and their README says so."""

import json
import os
import pathlib
import re
import subprocess
import tempfile
import unittest

import numpy
from PIL import Image

SOURCE = pathlib.Path(os.environ["ENDGRADE_SOURCE_DIR"])
DEMO = SOURCE / "images" / "demo"
ROW = re.compile(r"^\| \[([^\]]+)\]\(([^)]+)\) \| [^|]+ \| `([^`]+)` \| ([^ |]+) \|.*\| (\w+) \|$")
# The C library picks its mathematics by the processor: pixels may differ by a step here and there.
MOST_MEAN_DIFFERENCE = 0.02
MOST_BYTES = 4_000_000


def rows():
    found = [ROW.match(line) for line in (DEMO / "README.md").read_text().splitlines()]
    return [match.groups() for match in found if match]


class DemoPictures(unittest.TestCase):
    def test_readme_names_every_picture_and_no_other(self):
        pictures = sorted(str(p.relative_to(DEMO)) for p in DEMO.glob("*/*.jpg"))
        self.assertEqual(sorted(row[0] for row in rows()), pictures)
        self.assertGreaterEqual(len(pictures), 12)

    def test_readme_says_limits_camera_and_verdict_of_the_truth(self):
        for picture, link, limits, camera, expected in rows():
            with self.subTest(picture):
                truth = json.loads((DEMO / picture).with_suffix(".truth.json").read_text())
                self.assertEqual(picture, link)
                self.assertEqual(truth["limits_id"], limits)
                self.assertEqual(picture.split("/")[0], limits)
                self.assertEqual(truth["scene"]["camera"]["name"], camera)
                self.assertEqual(truth["acceptable"], [expected])
                self.assertFalse(truth["borderline"])
                self.assertTrue(truth["rendered"])

    def test_shows_all_limits_three_cameras_and_all_verdicts(self):
        self.assertEqual({row[2] for row in rows()}, {"sm-upc", "sm-pc", "sm-apc", "mm-pc"})
        self.assertEqual(len({row[3] for row in rows()}), 3)
        self.assertEqual({row[4] for row in rows()}, {"pass", "fail", "ungradable"})
        size = sum(p.stat().st_size for p in DEMO.rglob("*") if p.is_file())
        self.assertLess(size, MOST_BYTES)

    def test_scene_files_give_these_pictures(self):
        with tempfile.TemporaryDirectory() as folder:
            for scene in sorted(DEMO.glob("*/*.toml")):
                with self.subTest(scene.name):
                    subprocess.run(
                        [os.environ["ENDGRADE"], "render", "--scene", scene, "--out", folder],
                        check=True,
                    )
                    drawn = Image.open(pathlib.Path(folder) / (scene.stem + ".jpg"))
                    kept = Image.open(scene.with_suffix(".jpg"))
                    self.assertEqual((drawn.size, drawn.mode), (kept.size, kept.mode))
                    a = numpy.asarray(drawn, dtype=float)
                    difference = numpy.abs(a - numpy.asarray(kept, dtype=float)).mean()
                    self.assertLess(difference, MOST_MEAN_DIFFERENCE)


if __name__ == "__main__":
    unittest.main()
