"""The located cladding against scikit-image on the same pixels: Hough circles, ellipse fits."""

import tempfile
import unittest

import numpy as np
from skimage import feature, measure, transform

import plain_faces

# The ellipse through the half-level contour of a blurred disc of radius r: the contour lies inside
# the edge by blur^2 / (2 r) to first order (curvature), here 1.3^2 / 420 = 0.004 px; with noise 3
# and some 1300 contour points the fit is good to about 0.02 px.
ELLIPSE_TOLERANCE_PX = 0.1
# The transform votes in whole pixels of a picture shrunk to half for speed: half of one either way,
# and as much again for the edge detector.
HOUGH_TOLERANCE_PX = 2.0


def faces(rng):
    for i in range(10):
        ferrule, cladding = [(80, 150), (170, 90), (120, 150), (60, 200), (150, 110)][i % 5]
        centre = 450 + rng.uniform(-40, 40), 350 + rng.uniform(-25, 25)
        a = rng.uniform(150, 205)
        b = a / rng.choice([1.0, 1.0, 1.02, 1.05])
        truth = dict(centre=centre, semi_axes=(a, b), turn_deg=rng.uniform(0, 180))
        yield f"face{i}", truth, (ferrule + cladding) / 2, plain_faces.plain_face(
            rng, ferrule=ferrule, cladding=cladding, core=cladding * 1.05, noise=3.0, **truth
        )


def ellipse_of_contour(picture, level):
    """(centre, larger and smaller semi-axis) of scikit-image's fit to the longest contour."""
    longest = max(measure.find_contours(picture.astype(float), level), key=len)[:, ::-1]
    model = measure.EllipseModel()
    model.estimate(longest)
    xc, yc, a, b, _ = model.params
    return np.array([xc, yc]), max(a, b), min(a, b)


class FibreCircle(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.faces = {
            name: (truth, level, picture)
            for name, truth, level, picture in faces(np.random.default_rng(30))
        }
        with tempfile.TemporaryDirectory() as folder:
            cls.records = plain_faces.grade(folder, {n: f[2] for n, f in cls.faces.items()})

    def fibre(self, name):
        fibres = self.records[name]["fibres"]
        self.assertEqual(len(fibres), 1, name)
        return np.array(fibres[0]["centre_px"]), fibres[0]["cladding_semi_axes_px"]

    def test_centre_and_axes_are_those_of_an_ellipse_fit_to_the_half_level_contour(self):
        for name, (_, level, picture) in self.faces.items():
            with self.subTest(name):
                centre, axes = self.fibre(name)
                theirs, a, b = ellipse_of_contour(picture, level)
                self.assertLess(np.hypot(*(centre - theirs)), ELLIPSE_TOLERANCE_PX)
                self.assertAlmostEqual(max(axes), a, delta=2 * ELLIPSE_TOLERANCE_PX)
                self.assertAlmostEqual(min(axes), b, delta=2 * ELLIPSE_TOLERANCE_PX)

    def test_round_claddings_lie_where_the_hough_transform_puts_them(self):
        for name, (truth, _, picture) in self.faces.items():
            if truth["semi_axes"][0] != truth["semi_axes"][1]:
                continue
            with self.subTest(name):
                half = measure.block_reduce(picture.astype(float) / 255, (2, 2), np.mean)
                edges = feature.canny(half, sigma=2)
                radii = np.arange(65, 115)
                votes = transform.hough_circle(edges, radii)
                best, y, x = np.unravel_index(np.argmax(votes), votes.shape)
                centre, axes = self.fibre(name)
                self.assertLess(
                    np.hypot(centre[0] - (2 * x + 0.5), centre[1] - (2 * y + 0.5)),
                    HOUGH_TOLERANCE_PX,
                )
                self.assertAlmostEqual(np.mean(axes), 2 * radii[best], delta=HOUGH_TOLERANCE_PX)

    def test_centre_and_axes_are_those_that_were_drawn(self):
        for name, (truth, _, _) in self.faces.items():
            with self.subTest(name):
                centre, axes = self.fibre(name)
                self.assertLess(np.hypot(*(centre - truth["centre"])), ELLIPSE_TOLERANCE_PX)
                for said, drawn in zip(sorted(axes), sorted(truth["semi_axes"])):
                    self.assertAlmostEqual(said, drawn, delta=2 * ELLIPSE_TOLERANCE_PX)


if __name__ == "__main__":
    unittest.main()
