"""Simple end-face pictures for tests of the command line, drawn with numpy and SciPy only."""

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

WIDTH_PX, HEIGHT_PX = 800, 600
CLADDING_RADIUS_PX = 130  # 125 um: 0.48 um a pixel, and the 250 um zone is 520 px across


def _discs(discs):
    """A grey picture of (radius_px, level, centre offset) discs on a ferrule, blurred, with noise."""
    y, x = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX]
    level = np.full((HEIGHT_PX, WIDTH_PX), 90.0)
    for radius, value, dx, dy in discs:
        distance = np.hypot(x - WIDTH_PX / 2 - dx, y - HEIGHT_PX / 2 - dy)
        covered = np.clip(radius - distance + 0.5, 0.0, 1.0)  # no steps along the rim
        level += covered * (value - level)
    level = gaussian_filter(level, 1.2)
    level += np.random.default_rng(7).normal(0.0, 1.0, level.shape)
    return Image.fromarray(np.clip(np.rint(level), 0, 255).astype(np.uint8))


def clean():
    return _discs([(CLADDING_RADIUS_PX, 160, 0, 0), (9, 200, 0, 0)])


def dirty():
    """A dark speck of some 19 um, 31 um from the centre: in zone B, far over its limit of 5 um."""
    return _discs([(CLADDING_RADIUS_PX, 160, 0, 0), (9, 200, 0, 0), (20, 40, 65, 0)])


def empty():
    """No fibre at all."""
    return _discs([])
