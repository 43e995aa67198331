"""The tables of this folder against the boundary cases of edition 2 as published (zones/README.md),
and its smallest circles against closed forms."""

import unittest

import numpy as np

import geometry
import limits
import marks

# (table, kind, distance from the centre in um, sizes in um, passes)
CASES = [
    ("sm-upc", "scratch", 30, [3.0], True),
    ("sm-upc", "scratch", 30, [3.01], False),
    ("sm-upc", "defect", 30, [1.99] * 100, True),
    ("sm-upc", "defect", 30, [2.0] * 5, True),
    ("sm-upc", "defect", 30, [2.0] * 6, False),
    ("sm-upc", "defect", 30, [5.0] * 5, True),
    ("sm-upc", "defect", 30, [5.01], False),
    ("sm-upc", "defect", 100, [10.0], True),
    ("sm-upc", "defect", 100, [10.01], False),
    ("sm-upc", "scratch", 0, [0.1], False),
    ("sm-apc", "scratch", 5, [3.0] * 4, True),
    ("sm-apc", "scratch", 5, [0.5] * 5, False),
    ("sm-apc", "scratch", 5, [3.01], False),
    ("sm-apc", "defect", 5, [0.5], False),
    ("mm-pc", "defect", 5, [5.0] * 4, True),
    ("mm-pc", "defect", 5, [0.5] * 5, False),
    ("mm-pc", "defect", 5, [5.01], False),
    ("mm-pc", "defect", 40, [4.99] * 99, True),
    ("mm-pc", "defect", 40, [5.0] * 5, True),
    ("mm-pc", "defect", 40, [5.0] * 6, False),
    ("mm-pc", "defect", 40, [10.01], False),
    ("mm-pc", "defect", 100, [19.99] * 99, True),
    ("mm-pc", "defect", 100, [30.0] * 5, True),
    ("mm-pc", "defect", 100, [20.0] * 6, False),
    ("mm-pc", "defect", 100, [30.01], False),
    ("sm-pc", "scratch", 5, [3.0] * 2, True),
    ("sm-pc", "scratch", 5, [3.0] * 3, False),
    ("sm-pc", "defect", 5, [3.01], False),
    ("sm-upc", "defect", 60, [40.0], True),
    ("sm-upc", "defect", 126, [90.0], True),
]


class Limits(unittest.TestCase):
    def test_boundary_cases_come_out_as_published(self):
        for table, kind, away, sizes, passes in CASES:
            with self.subTest(table=table, kind=kind, away=away, sizes=sizes[:1], count=len(sizes)):
                features = [{"kind": kind, "size_um": s, "r_min_um": away} for s in sizes]
                self.assertEqual(not limits.broken(table, features), passes)

    def test_a_size_beside_a_limit_is_borderline_and_one_far_from_it_is_not(self):
        def one(size):
            return limits.is_borderline(
                "sm-upc", [{"kind": "defect", "size_um": size, "r_min_um": 30}]
            )

        self.assertEqual([one(3.0), one(4.8), one(5.3), one(8.0)], [False, True, True, False])


class Circles(unittest.TestCase):
    def test_enclosing_diameter_of_triangles_and_pairs(self):
        self.assertAlmostEqual(geometry.enclosing_diameter([(0, 0), (3, 4)]), 5.0)
        side = 2.0
        triangle = [(0, 0), (side, 0), (side / 2, side * np.sqrt(3) / 2)]
        self.assertAlmostEqual(geometry.enclosing_diameter(triangle), 2 * side / np.sqrt(3))
        flat = [(0, 0), (4, 0), (2, 0.5)]  # obtuse: the longest side is a diameter
        self.assertAlmostEqual(geometry.enclosing_diameter(flat), 4.0)

    def test_a_drawn_blob_is_as_wide_as_asked(self):
        rng = np.random.default_rng(1)
        for size in (2.0, 5.0, 20.0):
            cover = marks.blob_cover(rng, size, 0.1, 1.3)
            blob = marks.Mark("blob", "defect", np.array([30.0, 0.0]), size / 2, cover, None)
            self.assertAlmostEqual(blob.measure()["size_um"], size, delta=0.02 * size + 0.1)


if __name__ == "__main__":
    unittest.main()
