"""Rotation between two photographs of one face, against scikit-image.

The method is that of scikit-image's own worked example "Using Polar and Log-Polar Transformations for
Registration" (its gallery; transform.warp_polar of both pictures, then
registration.phase_cross_correlation along the angle), here on the ring of ferrule around the
cladding. It shares nothing with the program but the place and scale of the cladding, which come from
the renderer's truth and not from the program.
"""

import json
import math
import os
import subprocess
import tempfile
import unittest
from pathlib import Path

import numpy as np
from PIL import Image
from scipy import ndimage
from skimage.registration import phase_cross_correlation
from skimage.transform import warp_polar

ENDGRADE = os.environ["ENDGRADE"]
INNER_UM, OUTER_UM, STEP_UM = 68, 120, 0.5
ANGLES = 3600
SCENE = """
seed = 57
limits_id = "sm-upc"
[face]
grain_rms = 0.05
[camera]
base = "bench"
um_per_px = {scale}
rotation_deg = {rotation}
shot = {shot}
centre_offset_px = [{x}, {y}]
"""
# What can be asked of the worked example's method at a tenth of a degree an angle step.
TOLERANCE_DEG = 0.3


def rings(picture, truth):
    """Rows: angle; columns: distance from the centre, the slow light taken out."""
    level = np.asarray(Image.open(picture).convert("L"), float)
    level -= ndimage.gaussian_filter(level, 6 / truth["um_per_px"])
    radius_px = OUTER_UM / truth["um_per_px"]
    x, y = truth["centre_px"]
    polar = warp_polar(level, center=(y, x), radius=radius_px,
                       output_shape=(ANGLES, int(OUTER_UM / STEP_UM)))
    return polar[:, int(INNER_UM / STEP_UM):]


def wrapped(degrees):
    return math.remainder(degrees, 360)


class ReferenceRotation(unittest.TestCase):
    def test_rotation_is_that_of_scikit_images_worked_example(self):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            views = [(0, 0.27, 0, 0), (35, 0.27, 12, -7), (-100.4, 0.3, -20, 5)]
            for i, (rotation, scale, x, y) in enumerate(views):
                scene = folder / f"view-{i}.toml"
                scene.write_text(SCENE.format(rotation=rotation, scale=scale, shot=i + 1, x=x, y=y))
                subprocess.run([ENDGRADE, "render", "--scene", scene, "--out", folder], check=True)
            truths = [json.loads((folder / f"view-{i}.truth.json").read_text()) for i in range(3)]
            polars = [rings(folder / f"view-{i}.png", truths[i]) for i in range(3)]
            for i in (1, 2):
                shift, _, _ = phase_cross_correlation(polars[0], polars[i], upsample_factor=10,
                                                      normalization=None)
                # How far view 0 must go to lie on view i: the shift the other way round.
                reference = -shift[0] * 360 / ANGLES
                done = subprocess.run(
                    [ENDGRADE, "compare", "--limits", "sm-upc", "--json", folder / "view-0.png",
                     folder / f"view-{i}.png"], check=False, capture_output=True, text=True)
                pair = json.loads(done.stdout)["pairs"][0]
                with self.subTest(view=i):
                    self.assertTrue(pair["rotation_known"])
                    self.assertLess(abs(wrapped(pair["rotation_deg"] - reference)), TOLERANCE_DEG)
                    self.assertLess(abs(wrapped(pair["rotation_deg"] - views[i][0])), 0.1)


if __name__ == "__main__":
    unittest.main()
