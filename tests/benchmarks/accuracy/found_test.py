"""The bench's own arithmetic: what counts as found, contrasts set, thresholds swept, grounds flat."""

import math
import random
import unittest

import numpy as np

import found
import others
import placed
import plain_ground
import side_by_side
import sight_check


class Found(unittest.TestCase):
    square = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])

    def test_a_square_encloses_its_middle_and_not_what_lies_beside_it(self):
        self.assertTrue(found.encloses(self.square, (0.2, -0.3)))
        self.assertFalse(found.encloses(self.square, (1.5, 0)))

    def test_an_outline_touches_a_disc_within_its_radius_and_the_allowance(self):
        centre = np.array([[4.0, 0.0]])
        # The square's nearest corners are at sqrt(3^2 + 1) = 3.162 from the disc's centre.
        self.assertTrue(found.touches(self.square, centre, 2.0, 1.17))
        self.assertFalse(found.touches(self.square, centre, 2.0, 1.15))

    def test_a_scratch_is_a_line_of_its_length_in_its_direction(self):
        line, half = found.middle_line(
            {"shape": "scratch", "centre_um": [5, 5], "angle_deg": 90, "length_um": 8, "width_um": 2}
        )
        self.assertTrue(np.allclose(line[[0, -1]], [[5, 1], [5, 9]]))
        self.assertEqual(half, 1.0)


class Placed(unittest.TestCase):
    def test_contrast_follows_the_wanted_signal_to_noise_up_to_what_there_can_be(self):
        feature = {"contrast": -0.2, "rim_contrast": 0.1}
        self.assertAlmostEqual(placed.at_snr(feature, 8, 12)["contrast"], -0.3)
        self.assertAlmostEqual(placed.at_snr(feature, 8, 12)["rim_contrast"], 0.15)
        self.assertAlmostEqual(placed.at_snr(feature, 1, 12)["contrast"], placed.DARKEST)

    def test_features_lie_apart_and_inside_the_contact_zone(self):
        features = placed.place(random.Random(3))
        self.assertGreaterEqual(len(features), 6)
        for i, f in enumerate(features):
            self.assertTrue(placed.is_apart(f, features[:i] + features[i + 1 :]))

    def test_the_stated_contrast_is_that_of_the_file(self):
        linear = sight_check.linear_contrast({"gamma": 2.0})
        self.assertAlmostEqual((1 + linear) ** (1 / 2.0), 0.7, places=12)


def flat_ground(values, um_per_cell=0.5):
    """A ground as plain_ground.Ground leaves it, of given values around the face's centre."""
    ground = plain_ground.Ground.__new__(plain_ground.Ground)
    ground.values, ground.um_per_cell, ground.blur_cells = values, um_per_cell, 1.0
    ground.inside, ground.rim_um = np.ones(values.shape, bool), 62.5
    half = (np.array(values.shape)[::-1] - 1) / 2
    ground.first_cell = -half
    ground.cell_from_um = np.eye(2) / um_per_cell
    y, x = np.indices(values.shape)
    ground.um = (np.stack([x, y], -1) - half) * um_per_cell
    return ground


class Others(unittest.TestCase):
    def setUp(self):
        values = np.random.default_rng(7).normal(0, 1, (121, 121))
        y, x = np.indices(values.shape)
        values -= 12 * np.exp(-((x - 30) ** 2 + (y - 40) ** 2) / (2 * 1.8**2))
        self.line = abs(y - 90) < 1.5
        values[self.line & (x > 30) & (x < 100)] -= 6
        self.ground = flat_ground(values)

    def test_positions_go_to_cells_and_back(self):
        cells = np.array([[40, 30], [90, 60]])
        self.assertTrue(np.allclose(self.ground.cells_of(self.ground.um_of(cells)), cells))

    def test_every_method_finds_a_plain_spot_or_a_plain_line(self):
        for method in others.METHODS:
            state = method.prepare(self.ground)
            detections = method.at(state, 6.0 if method is not others.BlobLog else 2.0)
            at = np.array([np.mean(d, 0) for d in detections]).reshape(-1, 2)
            spot = len(at) and np.hypot(*(at - [40, 30]).T).min() < 3
            line = len(at) and np.abs(at[:, 0] - 90).min() < 3
            self.assertTrue(spot or line, method.name)

    def test_the_swept_threshold_is_the_lowest_with_no_more_than_allowed(self):
        heights = np.array([3.0, 4.0, 5.0, 9.0])
        t = side_by_side.threshold_for(lambda t: (heights > t).sum(), 2, 30, allowed=1, steps=30)
        self.assertAlmostEqual(t, 5.0, delta=1e-3)
        self.assertTrue(math.isclose(t, 5.0, rel_tol=1e-3))


if __name__ == "__main__":
    unittest.main()
