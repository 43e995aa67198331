"""The command `endgrade explain` as a person and a script see it."""

import os
import subprocess
import tempfile
import unittest
from pathlib import Path

from PIL import Image

ENDGRADE = os.environ["ENDGRADE"]
DEMO = Path(os.environ["ENDGRADE_SOURCE_DIR"]) / "images" / "demo" / "sm-upc"
DIRTY = DEMO / "berth-1-port-02-before.jpg"  # fails, says images/demo/README.md
CLEAN = DEMO / "berth-1-port-01.jpg"


def run(*arguments, limits=("--limits", "sm-upc")):
    return subprocess.run([ENDGRADE, "explain", *limits, *arguments], capture_output=True,
                          text=True, timeout=120, check=False)


class ExplainTest(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.out = Path(folder.name) / "why"

    def test_exit_code_is_the_verdict(self):
        self.assertEqual(run(DIRTY).returncode, 1)
        self.assertEqual(run(CLEAN).returncode, 0)

    def test_words_alone_without_a_folder(self):
        done = run(DIRTY)
        self.assertEqual(done.stderr, "")
        for word in ["Verdict: FAIL", "Found:", "Measured:", "Zone:", "Rule ", "BROKEN"]:
            self.assertIn(word, done.stdout)
        self.assertFalse(self.out.exists())

    def test_sheets_are_whole_pictures_and_nothing_else_is_left(self):
        before = sorted(DEMO.iterdir())
        done = run("--out", self.out, DIRTY)
        self.assertEqual(done.stderr, "")
        names = sorted(p.name for p in self.out.iterdir())
        self.assertIn("berth-1-port-02-before-face.png", names)
        features = [n for n in names if n.startswith("berth-1-port-02-before-feature-")]
        self.assertEqual(len(features) + 1, len(names))
        self.assertEqual(len(features), done.stdout.count("\nFeature "))
        for name in names:
            with Image.open(self.out / name) as sheet:
                sheet.load()
                self.assertEqual(sheet.width, 1920)
        self.assertEqual(sorted(DEMO.iterdir()), before)

    def test_one_feature_is_explained_alone(self):
        done = run("--feature", "1", "--out", self.out, DIRTY)
        self.assertEqual(done.stdout.count("\nFeature "), 1)
        self.assertEqual([p.name for p in self.out.iterdir()],
                         ["berth-1-port-02-before-feature-01.png"])

    def test_a_feature_that_is_not_there_is_2_and_says_which_are(self):
        done = run("--feature", "999", DIRTY)
        self.assertEqual((done.returncode, done.stdout), (2, ""))
        self.assertRegex(done.stderr, r"no feature 999.* 1 to \d+")

    def test_mistakes_are_2_and_named(self):
        missing = self.out / "gone.png"
        for arguments, limits, word in [((missing,), ("--limits", "sm-upc"), "gone.png"),
                                        ((CLEAN,), (), "sm-upc"),
                                        ((CLEAN,), ("--limits", "no-such"), "no-such"),
                                        (("--out", DEMO, CLEAN), ("--limits", "sm-upc"), "--out")]:
            with self.subTest(arguments=arguments):
                done = run(*arguments, limits=limits)
                self.assertEqual((done.returncode, done.stdout), (2, ""))
                self.assertIn(word, done.stderr)


if __name__ == "__main__":
    unittest.main()
