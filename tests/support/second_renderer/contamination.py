"""Dirt that can be wiped off: dust, oils, droplet residues, salts, lint, gel."""

import numpy as np

import fields
from marks import Line, Mark, blob_cover, field_cover


def _darken(contrast, rim=0.0, glint=0.0, size=5.0):
    """Light through a speck: a loss, a bright fringe just outside it, a glint in its middle."""

    def light(x, y, cover):
        transmission = 1 - contrast * cover
        if rim:
            transmission = transmission + rim * 4 * cover * (1 - cover)
        glow = glint * np.exp(-(x**2 + y**2) / (0.16 * size) ** 2) if glint else 0.0 * cover
        return transmission, glow

    return light


def speck(rng, centre, size_um, contrast=None, bright=None):
    """A single grain of dust."""
    contrast = rng.uniform(0.35, 0.85) if contrast is None else contrast
    bright = rng.random() < 0.12 if bright is None else bright
    cover = blob_cover(
        rng, size_um, rng.uniform(0.03, 0.16), rng.uniform(1, 1.5), int(rng.choice([0, 0, 5, 6]))
    )
    sign = -rng.uniform(0.8, 1.3) if bright else 1
    glint = rng.uniform(0, 0.35) if size_um > 6 and rng.random() < 0.4 else 0
    return Mark(
        "bright speck" if bright else "speck",
        "defect",
        np.array(centre),
        size_um / 2,
        cover,
        _darken(sign * contrast, rng.uniform(0, 0.1), glint, size_um),
    )


def dust_cluster(rng, centre, size_um, contrast=None):
    """Grains that touch: one defect, enclosed by one circle."""
    contrast = rng.uniform(0.4, 0.85) if contrast is None else contrast
    grains = []
    at = np.zeros(2)
    for _ in range(int(rng.integers(4, 9))):
        grain = size_um * rng.uniform(0.22, 0.4)
        grains.append((at.copy(), blob_cover(rng, grain, 0.12, rng.uniform(1, 1.4))))
        turn = rng.uniform(0, 2 * np.pi)
        step = 0.38 * grain * np.array([np.cos(turn), np.sin(turn)])
        at = at + step if np.hypot(*(at + step)) < 0.42 * size_um else at - step

    def cover(x, y):
        total = 0
        for place, shape in grains:
            total = np.maximum(total, shape(x - place[0], y - place[1]))
        return total

    return Mark(
        "dust cluster",
        "defect",
        np.array(centre),
        size_um * 0.8,
        cover,
        _darken(contrast, rng.uniform(0, 0.12)),
    )


def salt(rng, centre, size_um, contrast=None):
    """A crystal: angular, glassy, with a bright facet and dark edges."""
    contrast = rng.uniform(0.3, 0.6) if contrast is None else contrast
    cover = blob_cover(rng, size_um, 0.03, rng.uniform(1, 1.5), 4)
    turn = rng.uniform(0, 2 * np.pi)

    def light(x, y, c):
        slope = (x * np.cos(turn) + y * np.sin(turn)) / size_um
        return 1 - contrast * c * (0.75 + 0.25 * 4 * c * (1 - c)), 0.5 * contrast * c * (
            slope > 0.22
        )

    return Mark("salt crystal", "defect", np.array(centre), size_um / 2, cover, light)


def oil_smear(rng, centre, size_um, contrast=None):
    """A wiped film of oil: streaks along the wipe, fading out, faint fringes."""
    contrast = rng.uniform(0.12, 0.3) if contrast is None else contrast
    sign = 1 if rng.random() < 0.7 else -1
    patch = field_cover(rng, size_um / 2, 0.16, 0.75, edge=0.35)
    turn, stretch, phase = rng.uniform(0, np.pi), rng.uniform(1.2, 2.2), rng.uniform(0, 6)

    def cover(x, y):
        p = (x * np.cos(turn) + y * np.sin(turn)) / stretch
        q = -x * np.sin(turn) + y * np.cos(turn)
        return patch(p, q)

    def light(x, y, c):
        q = -x * np.sin(turn) + y * np.cos(turn)
        streaks = 0.8 + 0.2 * np.sin(q * 1.1 + phase + 1.5 * np.sin(0.31 * q))
        fringe = 0.7 + 0.3 * np.cos(7 * c)
        return 1 - sign * contrast * c * streaks * fringe, 0 * c

    return Mark("oil smear", "defect", np.array(centre), size_um / 2 * stretch, cover, light)


def finger_oil(rng, centre, size_um, contrast=None):
    """Small droplets left by skin: many lenses close together, read as one patch."""
    contrast = rng.uniform(0.2, 0.45) if contrast is None else contrast
    drops = []
    n = int(np.clip(size_um * 1.1, 6, 40))
    for _ in range(n):
        turn, reach = rng.uniform(0, 2 * np.pi), 0.42 * size_um * np.sqrt(rng.random())
        drops.append(
            (reach * np.cos(turn), reach * np.sin(turn), size_um * rng.uniform(0.06, 0.16))
        )

    def cover(x, y):
        total = 0
        for px, py, r in drops:
            total = np.maximum(total, np.clip((r - np.hypot(x - px, y - py)) / 0.4 + 0.5, 0, 1))
        return total

    def light(x, y, c):
        loss = 0
        for px, py, r in drops:
            d = np.hypot(x - px, y - py) / r
            loss = loss + np.exp(-(((d - 0.85) / 0.25) ** 2)) - 0.45 * np.exp(-((d / 0.4) ** 2))
        return 1 - contrast * np.clip(loss, -0.5, 1.3), 0 * c

    return Mark("finger oil", "defect", np.array(centre), 0.6 * size_um, cover, light)


def dried_droplet(rng, centre, size_um, contrast=None):
    """A stain of dried solvent: dark uneven rim, pale inside."""
    contrast = rng.uniform(0.25, 0.6) if contrast is None else contrast
    cover = blob_cover(rng, size_um, rng.uniform(0.02, 0.08), rng.uniform(1, 1.25))
    n = 360
    gaps = np.clip(0.8 + 0.35 * fields.wobble(rng, n, 14), 0.2, 1.4)
    rim_um = max(0.8, 0.05 * size_um)
    base = contrast * rng.uniform(0.12, 0.35)

    def light(x, y, c):
        shrink = 1 - 2.2 * rim_um / size_um
        core = cover(x / shrink, y / shrink)
        turn = np.degrees(np.arctan2(y, x)) % 360
        strength = np.interp(turn.ravel(), np.arange(n), gaps).reshape(np.shape(turn))
        return 1 - contrast * (c - core).clip(0) * strength - base * cover(x, y), 0 * c

    return Mark("dried droplet", "defect", np.array(centre), size_um / 2, cover, light)


def gel(rng, centre, size_um, contrast=None):
    """Index gel or glue: a smooth lens, dark towards its edge, bright on one flank."""
    contrast = rng.uniform(0.3, 0.6) if contrast is None else contrast
    cover = field_cover(rng, size_um / 2, 0.3, 0.85, edge=0.25)
    turn = rng.uniform(0, 2 * np.pi)

    def light(x, y, c):
        flank = (x * np.cos(turn) + y * np.sin(turn)) / size_um
        edge = 4 * c * (1 - c)
        return 1 - contrast * (0.5 * c + 0.6 * edge * (0.6 + flank)), 0.15 * edge * (flank < -0.2)

    return Mark("gel", "defect", np.array(centre), size_um * 0.62, cover, light)


def residue_film(rng, centre, size_um, contrast=None):
    """A thin uneven film: low contrast, ragged border."""
    contrast = rng.uniform(0.10, 0.25) if contrast is None else contrast
    cover = field_cover(rng, size_um / 2, 0.12, 0.7, edge=0.12)
    sign = 1 if rng.random() < 0.75 else -1
    return Mark(
        "residue film",
        "defect",
        np.array(centre),
        size_um * 0.62,
        cover,
        _darken(sign * contrast, 0.5 * contrast),
    )


def lint(rng, centre, length_um, contrast=None):
    """A curled strand: dark sides, pale middle. A defect, whatever its shape."""
    contrast = rng.uniform(0.4, 0.75) if contrast is None else contrast
    n = 40
    bend = 0.07 * fields.wobble(rng, n, 5) + rng.choice([-1, 1]) * rng.uniform(0.03, 0.09)
    heading = rng.uniform(0, 2 * np.pi) + np.cumsum(bend)
    steps = np.stack([np.cos(heading), np.sin(heading)], 1) * length_um / n
    points = np.cumsum(steps, 0)
    points = points - points[int(rng.integers(n // 4, 3 * n // 4))] + centre
    width = rng.uniform(7, 14) * (1 + 0.12 * fields.wobble(rng, n, 4))
    return Line(
        "lint",
        points,
        width,
        contrast * (1 + 0.15 * fields.wobble(rng, n, 3)),
        kind="defect",
        sharpness=4.0,
        profile=rng.choice(["strand", "strand", "plain"]),
        removable=True,
    )


def debris_ring(rng, radius_um, share):
    """Dust pushed into an arc by mating: grains in a band around the contact, each a defect."""
    marks, turn = [], rng.uniform(0, 2 * np.pi)
    for step in np.arange(0, 2 * np.pi * share, 11 / radius_um):
        at = turn + step + rng.normal(0, 0.2 * 11 / radius_um)
        reach = radius_um + rng.normal(0, 4)
        marks.append(speck(rng, (reach * np.cos(at), reach * np.sin(at)), rng.uniform(2.0, 7.0)))
    return marks
