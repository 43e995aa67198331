"""Pictures in which there is no fibre to grade."""

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont
from scipy import ndimage

import fields
from camera import FONT


def _finish(rng, picture):
    picture = picture + rng.normal(0, rng.uniform(0.004, 0.02), picture.shape)
    tint = np.array(rng.choice([(1, 1, 1), (0.5, 0.8, 1.1), (1.1, 0.9, 0.5)]))
    levels = np.clip(picture[..., None] * tint * 255, 0, 255).astype(np.uint8)
    return Image.fromarray(levels)


def ferrule_only(rng, shape):
    grain = fields.grain(rng, shape, rng.uniform(1, 3)) * 0.05
    marks = fields.grinding(rng, shape, rng.uniform(0, 3), rng.uniform(1, 3)) * rng.uniform(0, 0.05)
    slope = np.linspace(0.85, 1.15, shape[1])[None, :]
    return _finish(rng, rng.uniform(0.3, 0.6) * slope * (1 + grain + marks))


def uniform(rng, shape):
    return _finish(rng, np.full(shape, rng.uniform(0.15, 0.8)))


def text_page(rng, shape):
    image = Image.new("L", shape[::-1], int(rng.integers(215, 250)))
    draw = ImageDraw.Draw(image)
    size = int(rng.integers(14, 48))
    font = ImageFont.truetype(FONT.replace("Mono", ""), size)
    words = (
        "panel row port link loss fibre label rack cable tray seal cover floor note date".split()
    )
    for y in range(20, shape[0], int(1.5 * size)):
        draw.text((25, y), " ".join(rng.choice(words, 14)), fill=25, font=font)
    turned = image.rotate(rng.uniform(-8, 8), fillcolor=235, resample=Image.BICUBIC)
    return _finish(rng, np.asarray(turned.filter(ImageFilter.GaussianBlur(1)), float) / 255)


def mask_only(rng, shape):
    y, x = np.indices(shape)
    reach = rng.uniform(0.38, 0.48) * shape[0]
    inside = np.clip((reach - np.hypot(x - shape[1] / 2, y - shape[0] / 2)) / 3 + 0.5, 0, 1)
    texture = 1 + 0.03 * fields.grain(rng, shape, 1.5)
    return _finish(rng, 0.02 + inside * rng.uniform(0.25, 0.6) * texture)


def washer(rng, shape):
    """A turned metal ring: hole, brushed face, outer edge."""
    y, x = np.indices(shape)
    cx, cy = shape[1] / 2 + rng.uniform(-40, 40), shape[0] / 2 + rng.uniform(-30, 30)
    radius, turn = np.hypot(x - cx, y - cy), np.arctan2(y - cy, x - cx)
    outer = rng.uniform(0.3, 0.45) * shape[0]
    inner = outer * rng.uniform(0.4, 0.6)
    rings = np.interp(radius.ravel(), np.arange(2000), 0.1 * fields.wobble(rng, 2000, 1.5)).reshape(
        shape
    )
    shine = 0.45 + 0.3 * np.cos(2 * turn + rng.uniform(0, 6)) + rings
    ring = np.clip((outer - radius) / 2, 0, 1) * np.clip((radius - inner) / 2, 0, 1)
    return _finish(rng, 0.06 + ring * shine)


def bubbles(rng, shape):
    """Bubbles in gel: many overlapping round lenses of all sizes."""
    y, x = np.indices(shape, dtype=np.float32)
    picture = np.full(shape, rng.uniform(0.35, 0.6), np.float32)
    for _ in range(int(rng.integers(12, 40))):
        r = float(np.exp(rng.uniform(np.log(12), np.log(0.2 * shape[0]))))
        cx, cy = rng.uniform(0, shape[1]), rng.uniform(0, shape[0])
        d = np.hypot(x - cx, y - cy) / r
        picture -= 0.25 * np.exp(-(((d - 1) / 0.07) ** 2))
        picture += 0.25 * np.exp(
            -((np.hypot(x - cx + 0.3 * r, y - cy + 0.3 * r) / (0.15 * r)) ** 2)
        )
    return _finish(rng, np.clip(picture, 0, 1))


def lamp_spots(rng, shape):
    y, x = np.indices(shape, dtype=np.float32)
    picture = 0.08 + 0.03 * fields.fractal(rng, shape, 200, 3)
    for _ in range(int(rng.integers(1, 5))):
        cx, cy = rng.uniform(0, shape[1]), rng.uniform(0, shape[0])
        picture += rng.uniform(0.4, 2) * np.exp(-np.hypot(x - cx, y - cy) / rng.uniform(20, 90))
    return _finish(rng, np.clip(picture, 0, 1))


def grid(rng, shape):
    y, x = np.indices(shape, dtype=np.float32)
    turn, pitch = rng.uniform(0, 1.5), rng.uniform(25, 90)
    u, v = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
    lines = np.maximum(np.cos(2 * np.pi * u / pitch), np.cos(2 * np.pi * v / pitch))
    return _finish(rng, ndimage.gaussian_filter(0.25 + 0.5 * (lines > 0.85), 1.2))


def cloth(rng, shape):
    y, x = np.indices(shape, dtype=np.float32)
    pitch = rng.uniform(14, 40)
    bend = 6 * fields.fractal(rng, shape, 120, 2)
    weave = np.sin(2 * np.pi * (x + bend) / pitch) * np.sin(2 * np.pi * (y - bend) / pitch)
    return _finish(rng, np.clip(0.45 + 0.22 * weave + 0.05 * fields.grain(rng, shape, 1), 0, 1))


def cloudy(rng, shape):
    return _finish(rng, np.clip(0.4 + 0.16 * fields.fractal(rng, shape, 180, 7), 0, 1))


def cable_jacket(rng, shape):
    """The side of a cable: a broad bright cylinder over a dark ground."""
    y, x = np.indices(shape, dtype=np.float32)
    turn = rng.uniform(-0.6, 0.6)
    v = ((y - shape[0] / 2) * np.cos(turn) + (x - shape[1] / 2) * np.sin(turn)) / (0.3 * shape[0])
    body = np.sqrt(np.clip(1 - v**2, 0, 1)) * 0.6 + 0.3 * np.exp(-(((v + 0.35) / 0.1) ** 2)) * (
        abs(v) < 1
    )
    return _finish(rng, 0.06 + body + 0.02 * fields.grain(rng, shape, 2))


def far_ferrule(rng, shape):
    """A connector from too far off: housing, bevelled ferrule, and a fibre too small to see."""
    y, x = np.indices(shape, dtype=np.float32)
    cx, cy = shape[1] / 2 + rng.uniform(-60, 60), shape[0] / 2 + rng.uniform(-40, 40)
    face = rng.uniform(0.09, 0.16) * shape[0]
    bevel = 1.35 * face
    radius = np.hypot(x - cx, y - cy)
    half = rng.uniform(0.3, 0.42) * shape[0]
    square = np.maximum(np.abs(x - cx) / 1.1, np.abs(y - cy))
    picture = np.full(shape, 0.07, np.float32) + 0.22 * (square < half)
    picture -= 0.12 * ((square < half * 0.72) & (radius > bevel))
    picture += (
        0.55
        * np.clip(bevel - radius, 0, 1)
        * np.clip(1 - (radius - face) / (bevel - face) * 0.7, 0, 1)
    )
    return _finish(rng, np.clip(ndimage.gaussian_filter(picture, 2), 0, 1))


def hair(rng, shape):
    """A hair across an empty field."""
    y, x = np.indices(shape, dtype=np.float32)
    middle = shape[0] / 2 + 0.2 * shape[0] * np.interp(
        np.arange(shape[1]), np.linspace(0, shape[1], 40), fields.wobble(rng, 40, 6)
    )
    away = np.abs(y - middle[None, :]) / rng.uniform(12, 40)
    strand = 0.45 * np.exp(-(away**6)) - 0.4 * np.exp(-((2.5 * away) ** 2))
    return _finish(rng, np.clip(0.6 - strand + 0.02 * fields.fractal(rng, shape, 90, 4), 0, 1))


SCENES = [
    ferrule_only,
    uniform,
    text_page,
    mask_only,
    washer,
    bubbles,
    lamp_spots,
    grid,
    cloth,
    cloudy,
    cable_jacket,
    far_ferrule,
    hair,
]
