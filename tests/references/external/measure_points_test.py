"""Enclosing circles, lengths and widths of src/measure against SciPy and scikit-image.

Runs the program measure_points (this folder) on the same points and compares.
"""

import os
import subprocess
import sys
import unittest

import numpy as np
import skimage
from scipy import optimize, spatial
from skimage import draw, measure

PROGRAM = os.path.join(os.environ.get("ENDGRADE_BINARY_DIR", "build"), "tests", "measure_points")
CIRCLE_TOLERANCE = 1e-6  # of the size: what the optimiser is asked for, and leaves
SWEEP_TOLERANCE = 1e-5  # a sweep over angles, refined to 1e-7 rad, of sizes of order 1 to 100


def ask(sets):
    """{name: dict of measures} from the program."""
    text = "".join(
        f"set {name} {len(points)}\n" + "".join(f"{x!r} {y!r}\n" for x, y in points.tolist())
        for name, points in sets.items()
    )
    done = subprocess.run([PROGRAM], input=text, capture_output=True, text=True, check=True)
    keys = ["circle", "x", "y", "enclosing", "length", "width", "nearest", "furthest"]
    rows = (line.split() for line in done.stdout.splitlines())
    return {row[0]: dict(zip(keys, map(float, row[1:]))) for row in rows}


def hull(points):
    try:
        return points[spatial.ConvexHull(points).vertices]
    except (spatial.QhullError, ValueError):
        return np.unique(points, axis=0)


def circle_by_optimiser(points):
    """Smallest enclosing circle as a convex programme (SLSQP): least r with |p - c|^2 <= r^2 for all."""
    corners = hull(points)
    middle = corners.mean(0)
    scale = max(np.linalg.norm(corners - middle, axis=1).max(), 1e-12)
    q = (corners - middle) / scale
    # With s = r^2 - |c|^2 the condition |p|^2 - 2 p.c <= s is linear and the aim s + |c|^2 a square.
    start = np.array([0.0, 0.0, 1.0])
    found = optimize.minimize(
        lambda v: v[2] + v[0] ** 2 + v[1] ** 2,
        start,
        method="SLSQP",
        jac=lambda v: np.array([2 * v[0], 2 * v[1], 1.0]),
        constraints={
            "type": "ineq",
            "fun": lambda v: v[2] + 2 * q @ v[:2] - (q**2).sum(1),
            "jac": lambda v: np.column_stack([2 * q, np.ones(len(q))]),
        },
        options={"ftol": 1e-14, "maxiter": 500},
    )
    centre = found.x[:2]
    radius = np.linalg.norm(q - centre, axis=1).max()
    return 2 * scale * radius, centre * scale + middle


def extent(points, angle):
    along = points @ np.array([np.cos(angle), np.sin(angle)])
    return along.max() - along.min()


def width_by_sweep(points):
    """(least extent over all directions, extent across it)."""
    corners = hull(points)
    angles = np.linspace(0, np.pi, 2000, endpoint=False)
    best = angles[np.argmin([extent(corners, a) for a in angles])]
    step = angles[1] - angles[0]
    # The least lies where a side of the hull is flush; the sweep only says near which.
    while step > 1e-9:
        near = best + np.linspace(-step, step, 21)
        best = near[np.argmin([extent(corners, a) for a in near])]
        step /= 8
    return extent(corners, best), extent(corners, best + np.pi / 2)


def random_sets(rng):
    sets = {}
    for i in range(40):
        n = int(rng.integers(3, 300))
        stretch = np.diag([1, rng.uniform(0.02, 1)])
        turn = rng.uniform(0, np.pi)
        rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        sets[f"cloud{i}"] = rng.normal(
            0, rng.uniform(0.5, 30), (n, 2)
        ) @ stretch @ rotate.T + rng.uniform(-100, 100, 2)
    for i in range(20):
        n = int(rng.integers(3, 80))
        turns = rng.uniform(0, 2 * np.pi, n)
        sets[f"circle{i}"] = rng.uniform(1, 50) * np.column_stack([np.cos(turns), np.sin(turns)])
    for i in range(10):
        grid = rng.integers(0, 6, (int(rng.integers(2, 25)), 2)).astype(float)
        sets[f"grid{i}"] = np.concatenate([grid, grid[: len(grid) // 2]])  # repeats, many on lines
    return sets


def blobs(rng):
    """Filled shapes as scikit-image labels them, with the contour that it takes measures from."""
    for i in range(12):
        mask = np.zeros((140, 140), bool)
        r, c = draw.ellipse(
            70, 70, rng.uniform(4, 55), rng.uniform(4, 55), rotation=rng.uniform(0, 3)
        )
        mask[r, c] = True
        if i % 3 == 0:
            r, c = draw.ellipse(60, 90, 12, 25, shape=mask.shape)
            mask[r, c] = True
        props = measure.regionprops(mask.astype(int))[0]
        # What feret_diameter_max is taken from: the contour of the convex hull's picture.
        hulled = np.pad(props.image_convex, 2).astype(float)
        contour = np.vstack(measure.find_contours(hulled, 0.5, fully_connected="high"))
        yield f"blob{i}", props, contour[:, ::-1]


class MeasurePoints(unittest.TestCase):
    def test_enclosing_circle_is_that_of_a_convex_programme(self):
        sets = random_sets(np.random.default_rng(20))
        for name, said in ask(sets).items():
            with self.subTest(name):
                diameter, centre = circle_by_optimiser(sets[name])
                size = max(diameter, 1e-9)
                self.assertLess(abs(said["circle"] - diameter) / size, CIRCLE_TOLERANCE)
                # An error e of the size moves the centre by at most sqrt(2 e) of it.
                self.assertLess(np.hypot(said["x"] - centre[0], said["y"] - centre[1]) / size, 2e-3)
                self.assertEqual(said["circle"], said["enclosing"])

    def test_enclosing_circle_holds_every_point(self):
        sets = random_sets(np.random.default_rng(21))
        for name, said in ask(sets).items():
            reach = np.hypot(*(sets[name] - [said["x"], said["y"]]).T).max()
            self.assertLessEqual(2 * reach, said["circle"] * (1 + 1e-9) + 1e-12, name)

    def test_least_width_and_the_length_across_it_are_those_of_a_sweep(self):
        sets = {
            k: p
            for k, p in random_sets(np.random.default_rng(22)).items()
            if not k.startswith("grid")
        }
        for name, said in ask(sets).items():
            with self.subTest(name):
                width, length = width_by_sweep(sets[name])
                low, high = sorted((width, length))
                self.assertAlmostEqual(said["width"], low, delta=SWEEP_TOLERANCE * max(high, 1))
                self.assertAlmostEqual(said["length"], high, delta=SWEEP_TOLERANCE * max(high, 1))

    def test_measures_of_labelled_blobs_bracket_regionprops(self):
        shapes = {
            name: (props, contour) for name, props, contour in blobs(np.random.default_rng(23))
        }
        said = ask({name: contour for name, (_, contour) in shapes.items()})
        for name, (props, _) in shapes.items():
            with self.subTest(name):
                feret = props.feret_diameter_max  # same contour, farthest two points
                # Jung's theorem: the enclosing diameter is at most 2/sqrt(3) of the farthest pair.
                self.assertGreaterEqual(said[name]["circle"], feret - 1e-9)
                self.assertLessEqual(said[name]["circle"], feret * 2 / np.sqrt(3) + 1e-9)
                # Length and width are the sides of a rectangle that holds both of its ends.
                self.assertLessEqual(said[name]["length"], feret + 1e-9)
                self.assertGreaterEqual(
                    np.hypot(said[name]["length"], said[name]["width"]), feret - 1e-9
                )
                if int(name[4:]) % 3:  # plain ellipses; a contour runs half a pixel outside centres
                    self.assertAlmostEqual(said[name]["circle"], props.axis_major_length, delta=1.5)
                    self.assertAlmostEqual(said[name]["width"], props.axis_minor_length, delta=1.5)

    def test_distances_from_the_origin_are_those_of_cdist(self):
        sets = random_sets(np.random.default_rng(24))
        for name, said in ask(sets).items():
            away = spatial.distance.cdist(sets[name], [[0.0, 0.0]])
            self.assertAlmostEqual(said["nearest"], away.min(), delta=1e-9, msg=name)
            self.assertAlmostEqual(said["furthest"], away.max(), delta=1e-9, msg=name)


if __name__ == "__main__":
    print(
        f"SciPy {__import__('scipy').__version__}, scikit-image {skimage.__version__}",
        file=sys.stderr,
    )
    unittest.main()
