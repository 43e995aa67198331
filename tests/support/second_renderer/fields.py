"""Random fields: fractal noise, grain, grinding marks, smooth one-dimensional wobble."""

import numpy as np
from PIL import Image
from scipy import ndimage


def white(rng, shape):
    return rng.standard_normal(shape).astype(np.float32)


def unit(field):
    mean = field.mean()
    return (field - mean) / (np.sqrt(np.square(field - mean).mean()) + 1e-9)


def grain(rng, shape, sigma_px):
    """Isotropic noise of one scale, unit variance. Coarse scales are made small and enlarged."""
    step = max(1, int(sigma_px / 2))
    small = (shape[0] // step + 3, shape[1] // step + 3)
    field = ndimage.gaussian_filter(white(rng, small), sigma_px / step, mode="wrap")
    if step > 1:
        field = np.asarray(
            Image.fromarray(field).resize((small[1] * step, small[0] * step), Image.BILINEAR)
        )
    return unit(field[: shape[0], : shape[1]])


def fractal(rng, shape, coarsest_px, octaves, persistence=0.5):
    """Sum of grains, each half as coarse as the one before (fractional Brownian motion)."""
    total = np.zeros(shape, np.float32)
    for k in range(octaves):
        scale = coarsest_px / 2**k
        if scale < 0.4:
            break
        total += persistence**k * grain(rng, shape, scale)
    return unit(total)


def grinding(rng, shape, angle_rad, spacing_px):
    """Parallel polishing marks: noise across one direction only, that fades along it."""
    y, x = np.indices(shape, dtype=np.float32)
    across = x * np.sin(angle_rad) - y * np.cos(angle_rad)
    across -= across.min()
    length = int(across.max()) + 2
    profile = ndimage.gaussian_filter1d(rng.standard_normal(length), spacing_px)
    marks = np.interp(across.ravel(), np.arange(length), unit(profile)).reshape(shape)
    return (marks * (0.6 + 0.4 * grain(rng, shape, 60.0))).astype(np.float32)


def wobble(rng, n, smooth):
    """Smooth random curve of n values, unit variance."""
    curve = ndimage.gaussian_filter1d(rng.standard_normal(n + 8), smooth, mode="wrap")[:n]
    return unit(curve)
