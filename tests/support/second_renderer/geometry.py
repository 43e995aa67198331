"""Where the face lies in the picture, and smallest enclosing circles.

Pixel coordinates: x right, y down, the centre of the top-left pixel is (0, 0).
Face coordinates: micrometres from the cladding's centre, same axes.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, QhullError


@dataclass
class View:
    width: int
    height: int
    centre: tuple  # px
    um_from_px: np.ndarray  # 2 x 2

    @property
    def um_per_px(self):
        return float(np.sqrt(abs(np.linalg.det(self.um_from_px))))

    def finer(self, k):
        """The same view on a grid k times as fine; its pixel i spans 1/k of a picture's pixel."""
        centre = tuple(k * (c + 0.5) - 0.5 for c in self.centre)
        return View(self.width * k, self.height * k, centre, self.um_from_px / k)

    def um_grid(self, box=None, sub=1):
        """Face coordinates of the (sub-)pixel centres of a box (x0, y0, x1, y1)."""
        x0, y0, x1, y1 = box or (0, 0, self.width, self.height)
        xs = (np.arange((x1 - x0) * sub, dtype=np.float32) + 0.5) / sub - 0.5 + x0 - self.centre[0]
        ys = (np.arange((y1 - y0) * sub, dtype=np.float32) + 0.5) / sub - 0.5 + y0 - self.centre[1]
        m = self.um_from_px.astype(np.float32)
        gx, gy = xs[None, :], ys[:, None]
        return m[0, 0] * gx + m[0, 1] * gy, m[1, 0] * gx + m[1, 1] * gy

    def px_from_um(self, points_um):
        inverse = np.linalg.inv(self.um_from_px)
        return np.asarray(points_um, float) @ inverse.T + np.asarray(self.centre)

    def box_around(self, points_um, pad_um):
        """The part of the picture within pad_um of the points; None if that is nothing."""
        points = np.atleast_2d(points_um)
        low, high = points.min(0) - pad_um, points.max(0) + pad_um
        corners = [(low[0], low[1]), (low[0], high[1]), (high[0], low[1]), (high[0], high[1])]
        px = self.px_from_um(corners)
        x0, y0 = np.floor(px.min(0)).astype(int)
        x1, y1 = np.ceil(px.max(0)).astype(int) + 1
        box = max(x0, 0), max(y0, 0), min(x1, self.width), min(y1, self.height)
        return box if box[2] - box[0] > 1 and box[3] - box[1] > 1 else None


def binned(field, sub):
    h, w = field.shape[0] // sub, field.shape[1] // sub
    return field.reshape(h, sub, w, sub).mean((1, 3))


def _circle_of(points):
    if len(points) == 2:
        centre = (points[0] + points[1]) / 2
        return centre, np.linalg.norm(points[0] - centre)
    a, b, c = points
    system = 2 * np.array([b - a, c - a])
    if abs(np.linalg.det(system)) < 1e-12:
        return None
    centre = np.linalg.solve(system, [b @ b - a @ a, c @ c - a @ a])
    return centre, np.linalg.norm(a - centre)


def enclosing_diameter(points):
    """Diameter of the smallest circle around points: farthest-first over the pairs and triples."""
    points = np.unique(np.asarray(points, float), axis=0)
    if len(points) > 3:
        try:
            points = points[ConvexHull(points).vertices]
        except QhullError:
            pass
    if len(points) < 2:
        return 0.0
    support = [0, int(np.argmax(((points - points[0]) ** 2).sum(1)))]
    centre, radius = _circle_of(points[support])
    for _ in range(200):
        far = int(np.argmax(((points - centre) ** 2).sum(1)))
        if np.linalg.norm(points[far] - centre) <= radius * (1 + 1e-9):
            break
        best = None
        candidates = support + [far]
        for i in range(len(candidates)):
            for j in range(i):
                for k in range(-1, j):
                    trio = [candidates[i], candidates[j]] + ([candidates[k]] if k >= 0 else [])
                    circle = _circle_of(points[trio])
                    if circle is None:
                        continue
                    reach = np.linalg.norm(points[candidates] - circle[0], axis=1).max()
                    if reach <= circle[1] * (1 + 1e-9) and (best is None or circle[1] < best[1]):
                        best = (circle[0], circle[1], trio)
        if best is None:
            break
        centre, radius, support = best
    return 2 * float(radius)
