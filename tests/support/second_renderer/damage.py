"""Harm done to the face: scratches, pits, chips, cracks."""

import numpy as np

import fields
from marks import Line, Mark, blob_cover


def _course(rng, start, end, n, bend_um):
    straight = np.linspace(start, end, n)
    along = (np.array(end) - start) / (np.linalg.norm(np.array(end) - start) + 1e-9)
    across = np.array([-along[1], along[0]])
    arc = np.sin(np.linspace(0, np.pi, n)) * rng.normal(0, bend_um)
    if rng.random() < 0.15:  # a hook at one end
        arc = arc + 3 * bend_um * rng.choice([-1, 1]) * np.linspace(0, 1, n) ** 4
    return straight + np.outer(arc + 0.12 * fields.wobble(rng, n, 3), across)


def scratch(rng, start, end, width_um, depth, breaks=0.0, bright=False):
    """A scratch whose depth and width change along it; `breaks` is the share that is lost."""
    length = float(np.linalg.norm(np.array(end) - start))
    n = int(np.clip(length / 5, 6, 60))
    points = _course(rng, np.array(start, float), end, n, 0.02 * length)
    width = width_um * np.clip(1 + 0.10 * fields.wobble(rng, n, 3), 0.75, 1.25)
    strength = depth * np.clip(1 + 0.22 * fields.wobble(rng, n, 2), 0.5, 1.5)
    if breaks:
        strength = np.where(
            fields.wobble(rng, n, 1.5) < np.quantile(rng.standard_normal(400), breaks),
            0.12 * strength,
            strength,
        )
    if rng.random() < 0.15:  # a tool that chattered
        strength = strength * (0.35 + 0.65 * (np.arange(n) % 3 > 0))
    ends = np.minimum(np.arange(n), np.arange(n)[::-1]) / 1.5
    strength = strength * np.clip(0.55 + ends, 0, 1)
    groove = width_um > 2.5 and rng.random() < 0.75
    return Line(
        "scratch",
        points,
        width,
        -strength if bright else strength,
        sharpness=4.0 if groove else rng.choice([1.0, 1.5, 2.0]),
        flank=rng.choice([0, 0, 0.3]),
        profile="groove" if groove else "plain",
        seed=int(rng.integers(100)),
    )


def scratch_at(rng, nearest_um, length_um, width_um, depth, **more):
    """A scratch whose closest approach to the centre is about nearest_um."""
    turn = rng.uniform(0, 2 * np.pi)
    out = np.array([np.cos(turn), np.sin(turn)])
    across = np.array([-out[1], out[0]])
    share = rng.uniform(0.25, 0.75)
    start = nearest_um * out - share * length_um * across
    end = nearest_um * out + (1 - share) * length_um * across
    return scratch(rng, start, end, width_um, depth, **more)


def radial_scratch(rng, inner_um, length_um, width_um, depth, **more):
    """A scratch that starts at inner_um and leads outward at a slant."""
    turn = rng.uniform(0, 2 * np.pi)
    slant = turn + rng.uniform(-0.9, 0.9)
    start = inner_um * np.array([np.cos(turn), np.sin(turn)])
    end = start + length_um * np.array([np.cos(slant), np.sin(slant)])
    return scratch(rng, start, end, width_um, depth, **more)


def pit(rng, centre, size_um, contrast=None):
    """A hole: dark, often with a bright rim on one side."""
    contrast = rng.uniform(0.45, 0.9) if contrast is None else contrast
    cover = blob_cover(rng, size_um, rng.uniform(0.02, 0.10), rng.uniform(1, 1.25))
    rim, turn = rng.uniform(0, 0.3), rng.uniform(0, 2 * np.pi)

    def light(x, y, c):
        side = 0.5 + 0.5 * np.cos(np.arctan2(y, x) - turn)
        return 1 - contrast * c + rim * 4 * c * (1 - c) * side, 0 * c

    return Mark("pit", "defect", np.array(centre), size_um / 2, cover, light, removable=False)


def chip(rng, cladding_radius_um, depth_um, width_um):
    """A piece broken out of the cladding's rim, conchoidal: dark, with bright lines in it."""
    turn = rng.uniform(0, 2 * np.pi)
    n = 90
    ragged = fields.wobble(rng, n, 7)
    contrast, sign = rng.uniform(0.35, 0.8), rng.choice([1, 1, 1, -0.8])
    place = cladding_radius_um * np.array([np.cos(turn), np.sin(turn)])
    ripples = rng.uniform(1.2, 2.5)

    def inward(x, y):
        fx, fy = x + place[0], y + place[1]
        off = (np.arctan2(fy, fx) - turn + np.pi) % (2 * np.pi) - np.pi
        across = off * cladding_radius_um / (width_um / 2)
        wobble = np.interp(np.clip(across, -1, 1).ravel(), np.linspace(-1, 1, n), ragged).reshape(
            np.shape(across)
        )
        reach = depth_um * np.clip(1 - across**2, 0, 1) ** 0.7 * (1 + 0.12 * wobble)
        return reach, cladding_radius_um - np.hypot(fx, fy)

    def cover(x, y):
        reach, depth = inward(x, y)
        return (
            np.clip((reach - depth) / 0.4 + 0.5, 0, 1)
            * np.clip((depth + 0.6) / 0.4, 0, 1)
            * (reach > 0.2)
        )

    def light(x, y, c):
        reach, depth = inward(x, y)
        lines = 0.8 + 0.3 * np.cos(2 * np.pi * (reach - depth) / ripples)
        return 1 - sign * contrast * c * lines, 0 * c

    return Mark(
        "chip",
        "defect",
        place,
        max(width_um, 2 * depth_um) / 2 * 1.1,
        cover,
        light,
        removable=False,
    )


def burn(rng, centre, size_um, contrast=None):
    """Glass melted or blackened by light on dirt: a dark disc with a paler halo."""
    contrast = rng.uniform(0.5, 0.9) if contrast is None else contrast
    cover = blob_cover(rng, size_um, 0.05, rng.uniform(1, 1.15))

    def light(x, y, c):
        halo = np.exp(-((np.hypot(x, y) / (0.75 * size_um)) ** 2))
        return 1 - contrast * c + 0.12 * halo * (1 - c), 0 * c

    return Mark("burn", "defect", np.array(centre), size_um / 2, cover, light, removable=False)


def crack(rng, start, heading, length_um, width_um, depth):
    """A jagged line across the glass."""
    n = int(np.clip(length_um / 4, 6, 40))
    turns = heading + rng.normal(0, 0.35, n)
    points = np.array(start) + np.concatenate(
        [[[0, 0]], np.cumsum(np.stack([np.cos(turns), np.sin(turns)], 1) * length_um / n, 0)]
    )
    width = width_um * np.linspace(1.15, 0.75, n + 1)
    line = Line(
        "crack", points, width, np.full(n + 1, depth), kind="defect", sharpness=2.0, flank=0.35
    )
    line.other_kind = ("scratch", width_um)
    return line
