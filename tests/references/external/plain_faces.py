"""The plainest end faces with known truth: discs on a ground, a Gaussian blur, Gaussian noise.

For comparisons with other libraries on the same pixels, where nothing else should matter.
"""

import pathlib
import subprocess
import json
import os

import numpy as np
from PIL import Image
from scipy import ndimage

ENDGRADE = os.environ.get("ENDGRADE", "build/endgrade")
FINER = 4  # sub-pixels a pixel, each way


def plain_face(
    rng,
    size=(900, 700),
    centre=(447.3, 352.8),
    semi_axes=(210.0, 210.0),
    turn_deg=0.0,
    ferrule=80.0,
    cladding=150.0,
    core=170.0,
    specks=(),
    blur_px=1.3,
    noise=4.0,
):
    """8-bit picture. specks: (x, y, diameter in px, contrast). Blur is a standard deviation in px."""
    w, h = size
    x = (np.arange(w * FINER, dtype=np.float32) + 0.5) / FINER - 0.5
    y = ((np.arange(h * FINER, dtype=np.float32) + 0.5) / FINER - 0.5)[:, None]
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    along, across = (x - centre[0]) * c + (y - centre[1]) * s, -(x - centre[0]) * s + (
        y - centre[1]
    ) * c
    radius = np.hypot(along / semi_axes[0], across / semi_axes[1])
    light = np.where(radius < 1, np.where(radius < 9 / 125, core, cladding), ferrule).astype(
        np.float32
    )
    for px, py, diameter, contrast in specks:
        x0, x1 = int((px - diameter) * FINER), int((px + diameter + 2) * FINER)
        y0, y1 = int((py - diameter) * FINER), int((py + diameter + 2) * FINER)
        inside = np.hypot(x[x0:x1] - px, y[y0:y1] - py) < diameter / 2
        light[y0:y1, x0:x1][inside] *= 1 + contrast
    light = light.reshape(h, FINER, w, FINER).mean((1, 3))
    light = ndimage.gaussian_filter(light, blur_px)
    return np.clip(np.round(light + rng.normal(0, noise, light.shape)), 0, 255).astype(np.uint8)


def blurred_disc(diameter_px, blur_px):
    """Picture of a disc of unit height as the camera above sees it, on a patch big enough."""
    n = int(diameter_px + 8 * blur_px) | 1
    at = (np.arange(n * FINER) + 0.5) / FINER - 0.5 - n // 2
    disc = (np.hypot(at[None, :], at[:, None]) < diameter_px / 2).astype(float)
    return ndimage.gaussian_filter(disc.reshape(n, FINER, n, FINER).mean((1, 3)), blur_px)


def grade(folder, pictures, limits="sm-upc"):
    """Writes pictures (name: array) as PNG and returns {name: record}."""
    files = []
    for name, picture in pictures.items():
        files.append(pathlib.Path(folder) / f"{name}.png")
        Image.fromarray(picture).save(files[-1])
    done = subprocess.run(
        [ENDGRADE, "grade", "--limits", limits, "--json", *map(str, files)],
        capture_output=True,
        text=True,
    )
    if done.returncode not in (0, 1, 3):
        raise RuntimeError(f"{ENDGRADE}: exit code {done.returncode}: {done.stderr}")
    records = [json.loads(line) for line in done.stdout.splitlines()]
    return {pathlib.Path(r["image"]["path"]).stem: r for r in records}
