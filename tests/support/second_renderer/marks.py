"""What a mark on the face is, and how it is painted and measured.

An area mark has `cover(x, y)` (0 to 1 over face coordinates) and `light(x, y, cover)` that gives
(transmission, glow): brightness becomes brightness * transmission + level * glow.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage

import fields
from geometry import binned, enclosing_diameter


@dataclass
class Mark:
    name: str
    kind: str  # scratch | defect
    centre: np.ndarray
    extent_um: float
    cover: object
    light: object
    removable: bool = True
    other_kind: tuple = None  # (kind, size) that a fair person might take it for
    truth: dict = field(default_factory=dict)

    def paint(self, view, image):
        box = view.box_around(self.centre, self.extent_um * 1.6 + 2)
        if box is None:
            return
        sub = int(np.clip(round(view.um_per_px / 0.12), 1, 5))
        if self.extent_um > 40:
            sub = min(sub, 2)
        x, y = view.um_grid(box, sub)
        x, y = x - self.centre[0], y - self.centre[1]
        transmission, glow = self.light(x, y, self.cover(x, y))
        part = image[box[1] : box[3], box[0] : box[2]]
        part *= binned(transmission + 0 * (x + y), sub)
        part += part.mean() * binned(glow + 0 * (x + y), sub)
        np.maximum(part, 0, out=part)

    def measure(self):
        """Sets truth: enclosing diameter, nearest distance from the fibre's centre."""
        half = self.extent_um * 1.3 + 0.5
        step = max(0.04, half / 300)
        line = np.arange(-half, half + step, step, dtype=np.float32)
        inside = self.cover(line[None, :] + 0 * line[:, None], line[:, None]) > 0.5
        rim = inside & ~ndimage.binary_erosion(inside)
        ys, xs = np.nonzero(rim)
        if len(xs) == 0:
            raise ValueError("empty mark")
        points = np.stack([line[xs], line[ys]], 1)
        radii = np.hypot(*(points + self.centre).T)
        centre_inside = (
            np.hypot(*self.centre) < half
            and inside[
                int(np.argmin(abs(line + self.centre[1]))),
                int(np.argmin(abs(line + self.centre[0]))),
            ]
        )
        self.truth = {
            "size_um": enclosing_diameter(points) + step,
            "r_min_um": 0.0 if centre_inside else max(0.0, float(radii.min()) - step / 2),
            "r_max_um": float(radii.max()),
        }
        return self.truth


@dataclass
class Line:
    """A scratch or a crack: points in um, with a width and a depth at each."""

    name: str
    points: np.ndarray
    width: np.ndarray
    depth: np.ndarray  # share of light lost in the middle; negative: brighter
    kind: str = "scratch"
    sharpness: float = 2.0
    flank: float = 0.0
    profile: str = "plain"  # plain | groove (ridges inside, torn edges) | strand (pale middle)
    seed: int = 0
    removable: bool = False
    other_kind: tuple = None
    truth: dict = field(default_factory=dict)

    @property
    def centre(self):
        return self.points.mean(0)

    @property
    def extent_um(self):
        return float(np.linalg.norm(self.points - self.centre, axis=1).max())

    def paint(self, view, image):
        loss = np.zeros(image.shape, np.float32)
        sub = int(np.clip(round(view.um_per_px / 0.12), 1, 4))
        reach = float(self.width.max())
        touched = view.box_around(self.points, 2 * reach + 2)
        if touched is None:
            return
        if self.profile == "strand":
            self._paint_strand(view, loss, touched)
        else:
            for i in range(len(self.points) - 1):
                self._paint_segment(view, loss, i, sub, reach)
        part = slice(touched[1], touched[3]), slice(touched[0], touched[2])
        image[part] *= np.clip(1 - loss[part], 0.02, 3)

    def _paint_strand(self, view, loss, box):
        x, y = view.um_grid(box)
        gap = np.full(np.broadcast(x, y).shape, 1e6, np.float32)
        for a, b in zip(self.points[:-1], self.points[1:]):
            along = b - a
            share = np.clip(((x - a[0]) * along[0] + (y - a[1]) * along[1]) / (along @ along), 0, 1)
            gap = np.minimum(
                gap, np.hypot(x - a[0] - share * along[0], y - a[1] - share * along[1])
            )
        across = 2 * gap / self.width.mean()
        shape = np.exp(-np.log(2) * across ** (2 * self.sharpness))
        pale = 1 - 1.5 * np.exp(-((1.3 * across) ** 2))
        loss[box[1] : box[3], box[0] : box[2]] = np.median(self.depth) * shape * pale

    def _paint_segment(self, view, loss, i, sub, reach):
        a, b = self.points[i], self.points[i + 1]
        box = view.box_around([a, b], 1.6 * reach + 2 * view.um_per_px)
        if box is None or abs(self.depth[i : i + 2]).max() < 1e-4:
            return
        x, y = view.um_grid(box, sub)
        along = b - a
        length = np.hypot(*along) + 1e-9
        u = along / length
        t = (x - a[0]) * u[0] + (y - a[1]) * u[1]
        share = np.clip(t / length, 0, 1)
        side = (x - a[0]) * -u[1] + (y - a[1]) * u[0]
        beyond = np.maximum(np.maximum(-t, t - length), 0)
        distance = np.hypot(side, beyond)
        width = self.width[i] * (1 - share) + self.width[i + 1] * share
        depth = self.depth[i] * (1 - share) + self.depth[i + 1] * share
        if self.profile == "groove":
            width = width * (1 + 0.10 * self._ripple(i, t, 1.3) * np.sign(side))
        shape = np.exp(-np.log(2) * (2 * distance / width) ** (2 * self.sharpness))
        here = depth * shape
        if self.profile == "groove":
            ridges = np.cos(2 * np.pi * side / width * 1.5 + self.seed)
            here = here * (0.88 + 0.15 * ridges + 0.12 * self._ripple(i, t, 2.6))
        if self.flank:
            here = here - self.flank * depth * np.exp(
                -(((side - 0.9 * width) / (0.4 * width)) ** 2) - (beyond / width) ** 2
            )
        here = binned(here, sub)
        part = loss[box[1] : box[3], box[0] : box[2]]
        stronger = np.abs(here) > np.abs(part)
        part[stronger] = here[stronger]

    def _ripple(self, i, t, period_um):
        """Unevenness along the line, the same wherever it is asked for."""
        return np.sin(2 * np.pi * t / period_um + 1.7 * i + self.seed) * np.cos(t / 2.3 + 0.6 * i)

    def measure(self):
        dense = np.concatenate(
            [
                np.linspace(self.points[i], self.points[i + 1], 12)
                for i in range(len(self.points) - 1)
            ]
        )
        radii = np.hypot(dense[:, 0], dense[:, 1])
        solid = self.width[np.abs(self.depth) > 0.3 * np.abs(self.depth).max()]
        width = float(np.median(solid))
        length = float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())
        size = width if self.kind == "scratch" else enclosing_diameter(self.points) + width
        self.truth = {
            "size_um": size,
            "width_um": width,
            "length_um": length,
            "r_min_um": max(0.0, float(radii.min()) - width / 2),
            "r_max_um": float(radii.max()) + width / 2,
        }
        return self.truth


def blob_cover(rng, diameter_um, roughness=0.15, stretch=1.0, corners=0):
    """Cover of a rounded or angular closed shape about as wide as diameter_um."""
    n = 180
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    radius = 1 + roughness * fields.wobble(rng, n, 12) + 0.4 * roughness * fields.wobble(rng, n, 4)
    if corners:
        phase = rng.uniform(0, 2 * np.pi)
        sector = (turn + phase) % (2 * np.pi / corners) - np.pi / corners
        radius = radius * np.cos(np.pi / corners) / np.cos(sector)
    a, b = np.sqrt(stretch), 1 / np.sqrt(stretch)
    tilt = rng.uniform(0, np.pi)
    radius = radius / max(1e-6, _span(turn, radius, a, b)) * diameter_um
    soft = max(0.12, 0.06 * diameter_um)

    def cover(x, y):
        p = (x * np.cos(tilt) + y * np.sin(tilt)) / a
        q = (-x * np.sin(tilt) + y * np.cos(tilt)) / b
        reach = (
            np.interp((np.arctan2(q, p) % (2 * np.pi)).ravel(), turn, radius, period=2 * np.pi)
            .reshape(np.shape(p))
            .astype(np.float32)
        )
        return np.clip((reach - np.hypot(p, q)) / soft + 0.5, 0, 1)

    return cover


def _span(turn, radius, a, b):
    outline = np.stack([a * radius * np.cos(turn), b * radius * np.sin(turn)], 1)
    return enclosing_diameter(outline)


def field_cover(rng, extent_um, coarseness, threshold, edge=0.12):
    """Cover of an irregular patch: where fractal noise minus distance exceeds a threshold."""
    n = 256
    noise = fields.fractal(rng, (n, n), n * coarseness, 5, 0.55)
    step = 3 * extent_um / n

    def cover(x, y):
        at = [
            np.broadcast_to(y, np.broadcast(x, y).shape) / step + n / 2,
            np.broadcast_to(x, np.broadcast(x, y).shape) / step + n / 2,
        ]
        value = ndimage.map_coordinates(noise, at, order=1, mode="nearest")
        height = threshold + 0.35 * value - (np.hypot(x, y) / extent_um) ** 2
        return np.clip(height / edge + 0.5, 0, 1)

    return cover
