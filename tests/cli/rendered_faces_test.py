"""Rendered faces whose verdict was once wrong, held against their truth.

Each stands for a kind of error that drawn faces are too plain to show. They have been looked at, so
they say nothing of how often verdicts are right: that is the benchmark's, on other seeds.
"""

import json
import math
import os
import pathlib
import subprocess
import tempfile
import unittest

ENDGRADE = os.environ["ENDGRADE"]

FACES = {
    974320: "grain beside a field stop, outlined as a ring around the fibre",
    986083: "a core half out of view, taken for dirt",
    970284: "a strong scratch that a thin one crosses, half of it taken for a particle's rim",
    976195: "five scratches in the core, one of which was lost where others cross it",
    987890: "three scratches that cross, and what was left of them",
    974214: "a lit core under a scratch, taken for dirt",
    988347: "lint across zone D's outer border, cut there",
    988357: "a wide dark spot in coarse grain, taken for the grain's own",
    988563: "a plain spot of 14 um on the ferrule, thrown away as faint",
    988878: "a dried droplet of 21 um there",
    989242: "a multimode core too blurred for its own size, taken for dirt",
    989288: "a face of 16 grey levels, passed",
    1001863: "six plain specks, one of which a line was drawn through, and lost with it",
    1003262: "a particle across which a line was drawn into blank glass, an allowed scratch",
    989503: "a wide bright scratch with a dark side, and a shadow upon it that halved its width",
    1004887: "a faint dark stain of 18 um in a dim picture, without an outline, and passed",
    1004999: "a wide bent scratch, found as a coarse patch, its width told as nothing, and passed",
    1001407: "a wide scratch across dark glass, outlined on the bright ferrule only, and passed",
}

# Faces that fail by a mark that hardly anybody would find, where it must at least not pass.
NEVER_PASSED = {1004831: "a third scratch along a stronger one, of which a faint mark is left"}

# Lint whose flanks or straight stretches were once things of their own.
LINT = [974199, 974048, 970065]

# Where the fibre once was not: on a dried droplet as round as the glass that it lies on, on one
# across the rim, in the round end of lint, and inside the outer border of an uneven adhesive ring.
FIBRES = {
    974217: "a droplet on the glass",
    989552: "a droplet on the glass",
    1004335: "a droplet across the rim",
    1004370: "the end of lint, in a dim picture",
    1003096: "an uneven ring",
    989545: "an uneven ring",
    1003374: "an uneven ring",
}


def run(*command):
    return subprocess.run([ENDGRADE, *command], check=False, stdout=subprocess.PIPE, text=True)


def grade(seed, folder):
    """Draws a face and grades it: its record and its truth."""
    if run("render", "--seed", str(seed), "--count", "1", "--out", folder).returncode != 0:
        raise RuntimeError(f"render of {seed} failed")
    path = pathlib.Path(folder) / f"render-{seed}.truth.json"
    truth = json.loads(path.read_text())
    picture = next(p for p in path.parent.glob(f"render-{seed}.*") if p.suffix in (".jpg", ".png"))
    done = run("grade", "--limits", truth["limits_id"], "--json", str(picture))
    return json.loads(done.stdout), truth


class RenderedFaces(unittest.TestCase):
    def test_verdicts_are_as_the_truth_says(self):
        with tempfile.TemporaryDirectory() as folder:
            for seed, what in FACES.items():
                with self.subTest(seed=seed, what=what):
                    record, truth = grade(seed, folder)
                    self.assertFalse(truth["borderline"])
                    self.assertIn(record["verdict"], truth["acceptable"])

    def test_what_is_hardly_seen_does_not_pass(self):
        with tempfile.TemporaryDirectory() as folder:
            for seed, what in NEVER_PASSED.items():
                with self.subTest(seed=seed, what=what):
                    record, truth = grade(seed, folder)
                    self.assertEqual(truth["acceptable"], ["fail"])
                    self.assertNotEqual(record["verdict"], "pass")

    def test_the_fibre_is_where_it_is(self):
        with tempfile.TemporaryDirectory() as folder:
            for seed, what in FIBRES.items():
                with self.subTest(seed=seed, what=what):
                    record, truth = grade(seed, folder)
                    fibre = record["fibres"][0]
                    off_px = math.dist(fibre["centre_px"], truth["cladding"]["centre_px"])
                    self.assertLess(off_px * truth["um_per_px"], 0.5)

    def test_lint_is_measured_whole(self):
        with tempfile.TemporaryDirectory() as folder:
            for seed in LINT:
                with self.subTest(seed=seed):
                    record, truth = grade(seed, folder)
                    found = record["fibres"][0]["features"]
                    lint = [f for f in truth["features"] if f["shape"] == "lint"]
                    self.assertGreater(len(lint), 0)
                    for true in lint:
                        reach = 0.5 * true["size_um"] / truth["um_per_px"]
                        self.assertTrue(
                            any(
                                math.dist(f["centre_px"], true["centre_px"]) < reach
                                and abs(f["size_um"] - true["size_um"]) <= 0.5 * f["size_uncertainty_um"]
                                for f in found
                            ),
                            true["size_um"],
                        )


if __name__ == "__main__":
    unittest.main()
