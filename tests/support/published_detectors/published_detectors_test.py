"""The references do what their description says, on pictures small enough to check by eye."""

import unittest

import numpy as np

import local_range
import oriented_lines


class LocalRange(unittest.TestCase):
    def test_a_step_of_five_is_a_difference_of_five_within_half_a_window(self):
        values = np.zeros((9, 12))
        values[:, 6:] = 5
        difference = local_range.response(values)
        self.assertEqual(list(difference[4]), [0, 0, 0, 0, 5, 5, 5, 5, 0, 0, 0, 0])

    def test_a_dark_spot_in_noise_is_the_one_region(self):
        values = np.random.default_rng(1).normal(0, 1, (80, 90))
        values[30:35, 40:45] -= 25
        found = local_range.regions(local_range.response(values), np.ones(values.shape, bool), 5)
        self.assertEqual(len(found), 1)
        self.assertTrue(np.allclose(found[0].mean(0), [32, 42], atol=0.6))


class OrientedLines(unittest.TestCase):
    def test_kernels_see_no_even_ground_and_give_a_full_line_its_height(self):
        for i in range(oriented_lines.ANGLES):
            k = oriented_lines.kernel(np.pi * i / oriented_lines.ANGLES)
            self.assertAlmostEqual(k.sum(), 0, places=12)
        flat = oriented_lines.kernel(0.0)
        row = np.zeros(flat.shape)
        row[flat.shape[0] // 2] = 3.0
        self.assertAlmostEqual((flat * row).sum(), 3.0, places=12)

    def test_a_broken_faint_line_is_one_scratch_and_a_spot_is_none(self):
        rng = np.random.default_rng(2)
        values = rng.normal(0, 1, (120, 140))
        for x in list(range(20, 60)) + list(range(66, 110)):
            y = 20 + 0.5 * x
            values[int(y), x] -= 8
        values[100, 20] -= 8
        most = oriented_lines.response(values)
        found = oriented_lines.scratches(most, np.ones(values.shape, bool), 5)
        self.assertEqual(len(found), 1)
        self.assertGreater(np.ptp(found[0][:, 1]), 70)


if __name__ == "__main__":
    unittest.main()
