"""What every detector of the comparison is given: a picture flattened inside its true geometry.

The true centre, scale, core and rim are the truth file's, so that only detection is compared. Light
is divided out ring by ring (median by distance, after a plane fitted to glass and ferrule apart), and
what is left is put in units of each ring's own noise (median absolute deviation). A user of the
general-purpose tools who knew the geometry perfectly would do as much. The borders of core, cladding
and adhesive ring, where the tools see nothing but those borders, are left out for all.
"""

import math

import numpy as np
from PIL import Image

OUTER_UM = 121.0
RING_UM = 0.5
NOISE_RING_UM = 6.0
FINEST_UM = 0.3  # as the engine: averaged down to no finer than this
BESIDE_RIM_UM, BESIDE_CORE_UM = 2.5, 2.0


class Ground:
    """values: units of the local noise; inside: where detections count; um_from_cell."""

    def __init__(self, picture, truth):
        luma = np.asarray(Image.open(picture).convert("L"), float)
        um_from_px = np.asarray(truth["um_from_px"])
        centre = np.asarray(truth["centre_px"])
        half = int(math.ceil((OUTER_UM + 4) / truth["um_per_px"])) + 2
        x0, y0 = (np.maximum(0, np.floor(centre) - half)).astype(int)
        x1, y1 = int(centre[0]) + half + 1, int(centre[1]) + half + 1
        luma = luma[y0:y1, x0:x1]
        block = max(1, math.ceil(FINEST_UM / truth["um_per_px"] - 0.3))
        rows, columns = (n // block for n in luma.shape)
        luma = luma[: rows * block, : columns * block]
        level = luma.reshape(rows, block, columns, block).mean((1, 3))
        y, x = np.indices(level.shape)
        px = np.stack([x, y], -1) * block + (block - 1) / 2 + (x0, y0) - centre
        self.first_px = (block - 1) / 2 + np.array([x0, y0]) - centre
        self.cell_from_um = np.linalg.inv(um_from_px) / block
        self.first_cell = self.first_px / block
        self.um = px @ um_from_px.T
        self.um_per_cell = truth["um_per_px"] * block
        self.blur_cells = truth["blur_fwhm_um"] / 2.3548 / self.um_per_cell
        self.flatten(level, truth)

    def flatten(self, level, truth):
        radius = np.hypot(*self.um.transpose(2, 0, 1))
        rim = 0.5 * truth["scene"]["fibre"]["cladding_diameter_um"]
        face = truth["scene"]["face"]
        gap = 0 if face["adhesive"] == "none" else 1.8 * face["adhesive_width_um"]
        core = 0.5 * truth["scene"]["fibre"]["core_diameter_um"]
        self.rim_um = rim
        values = np.zeros_like(level)
        self.inside = np.zeros(level.shape, bool)
        glass, ferrule = radius < rim - 1, (radius > rim + gap + 1) & (radius < OUTER_UM + 3)
        for part in (glass, ferrule):
            values[part] = self.flat(level, radius, part)
        rings = (radius / NOISE_RING_UM).astype(int)
        for part in (glass, ferrule):
            for ring in range(rings[part].max() + 1):
                some = part & (rings == ring)
                if some.sum() < 30:
                    continue
                spread = 1.4826 * np.median(np.abs(values[some] - np.median(values[some])))
                values[some] /= max(spread, 0.3)  # no finer than the picture's own steps
        self.inside = (radius < rim - BESIDE_RIM_UM) | (
            (radius > rim + gap + BESIDE_RIM_UM) & (radius < OUTER_UM)
        )
        self.inside &= np.abs(radius - core) > BESIDE_CORE_UM
        values[~(glass | ferrule)] = 0
        self.values = np.clip(values, -60, 60)

    def flat(self, level, radius, part):
        z, r = level[part], radius[part]
        x, y = self.um[part].T / 125.0
        terms = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
        keep = np.ones(len(z), bool)
        out = z - self.by_ring(z, r)
        for _ in range(3):
            weights = np.linalg.lstsq(terms[keep], out[keep], rcond=None)[0]
            left = out - terms @ weights
            keep = np.abs(left) < 3 * 1.4826 * np.median(np.abs(left)) + 1e-9
        return left - self.by_ring(left, r)

    @staticmethod
    def by_ring(z, r):
        ring = (r / RING_UM).astype(int)
        order = np.argsort(ring, kind="stable")
        edges = np.searchsorted(ring[order], np.arange(ring.max() + 2))
        medians = np.array(
            [np.median(z[order[a:b]]) if b > a else 0.0 for a, b in zip(edges, edges[1:])]
        )
        # The innermost rings hold too few cells to be told from a speck.
        medians[: int(3 / RING_UM)] = medians[int(3 / RING_UM)]
        return medians[ring]

    def um_of(self, cells):
        """(row, column), whole or not, to um on the face."""
        at = np.clip(np.round(np.asarray(cells)).astype(int), 0, np.array(self.values.shape) - 1)
        return self.um[at[:, 0], at[:, 1]]

    def cells_of(self, points_um):
        """Positions on the face to (row, column)."""
        return (np.asarray(points_um) @ self.cell_from_um.T - self.first_cell)[:, ::-1]

    def on_glass(self, points_um):
        return np.hypot(*np.asarray(points_um).T).mean() < self.rim_um

    def inside_at(self, points_um):
        """Which of some positions on the face lie where detections count."""
        at = np.round(self.cells_of(points_um)).astype(int)
        within = ((at >= 0) & (at < self.values.shape)).all(1)
        at = np.clip(at, 0, np.array(self.values.shape) - 1)
        return within & self.inside[at[:, 0], at[:, 1]]

    def counts(self, cells):
        at = np.clip(np.round(np.asarray(cells)).astype(int), 0, np.array(self.values.shape) - 1)
        return self.inside[at[:, 0], at[:, 1]].any()
