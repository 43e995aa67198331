"""The bare face: ferrule, adhesive ring, cladding, core. Brightness in linear light, 0 to 1."""

import numpy as np
from scipy import ndimage

import fields

# (ferrule, cladding) brightness. Glass reflects 3.5 % and polished zirconia 13 %, but the grain of
# the ceramic scatters much of that away, and every lamp and every polish tips the balance.
LOOKS = {
    "bright_cladding": ((0.10, 0.24), (0.40, 0.62)),
    "dark_cladding": ((0.42, 0.62), (0.12, 0.26)),
    "near_equal": ((0.33, 0.45), (0.33, 0.45)),
    "usual": ((0.20, 0.34), (0.36, 0.55)),
    "usual_inverse": ((0.40, 0.58), (0.26, 0.36)),
}


def draw_parameters(rng, multimode, look=None):
    look = look or rng.choice(list(LOOKS), p=[0.2, 0.2, 0.12, 0.3, 0.18])
    ferrule_range, cladding_range = LOOKS[look]
    ferrule, cladding = rng.uniform(*ferrule_range), rng.uniform(*cladding_range)
    if look == "near_equal":
        cladding = ferrule * rng.choice([rng.uniform(0.86, 0.95), rng.uniform(1.05, 1.15)])
    core_style = rng.choice(
        ["none", "brighter", "darker", "lit", "dark_ring"], p=[0.15, 0.32, 0.23, 0.15, 0.15]
    )
    core_um = rng.choice([50.0, 62.5]) + rng.normal(0, 0.8) if multimode else rng.uniform(7.8, 9.6)
    return {
        "look": str(look),
        "ferrule": ferrule,
        "cladding": cladding,
        "cladding_um": 125 + float(np.clip(rng.normal(0, 0.25), -0.7, 0.7)),
        "core_style": str(core_style),
        "core_um": float(core_um),
        "core_shift_um": rng.normal(0, 0.8 if multimode else 0.25, 2).clip(-1.5, 1.5),
        "ring": str(rng.choice(["dark", "bright", "thin", "uneven"], p=[0.45, 0.15, 0.25, 0.15])),
        "ring_um": rng.uniform(0.5, 2.6),
        "ring_level": rng.uniform(0.12, 0.6),
        "grain": rng.uniform(0.012, 0.07),
        "grain_um": rng.uniform(0.5, 2.2),
        "marks": rng.uniform(0, 0.035) * (rng.random() < 0.4),
        "marks_rad": rng.uniform(0, np.pi),
        "pores": int(rng.integers(0, 220)) if rng.random() < 0.5 else 0,
        "core_gain": rng.uniform(0.06, 0.30),
        "lit_gain": rng.uniform(0.6, 2.2),
        "core_edge_um": float(rng.choice([0.6, 0.6, 2.5, 6.0])) if multimode else 0.6,
        "bore_chips": int(rng.integers(2, 14)) if rng.random() < 0.2 else 0,
        "blotches": rng.uniform(0.02, 0.08) if rng.random() < 0.25 else 0.0,
        "mottle": rng.uniform(0.0, 0.012),
    }


def _soft(distance_um, view, width_um=0.3):
    """1 inside (distance > 0), 0 outside, over an edge as wide as a pixel or width_um."""
    return np.clip(distance_um / max(view.um_per_px, width_um) + 0.5, 0, 1)


def _core(x, y, face, view, multimode):
    radius = np.hypot(x - face["core_shift_um"][0], y - face["core_shift_um"][1])
    half = face["core_um"] / 2
    style = face["core_style"]
    disc = _soft(half - radius, view, face["core_edge_um"])
    if style == "none":
        return 1.0
    if style == "brighter":
        return 1 + face["core_gain"] * disc
    if style == "darker":
        return 1 - face["core_gain"] * disc
    if style == "dark_ring":
        ring = np.exp(-(((radius - half) / 0.8) ** 2))
        return 1 - face["core_gain"] * ring + 0.4 * face["core_gain"] * disc
    graded = (
        np.clip(1 - (radius / half) ** 2, 0, 1) if multimode else np.exp(-2 * (radius / half) ** 2)
    )
    return 1 + face["lit_gain"] * graded


def ferrule_texture(rng, view, face):
    shape = (view.height, view.width)
    um = view.um_per_px
    texture = fields.grain(rng, shape, max(0.4, face["grain_um"] / um / 2))
    texture = 0.75 * texture + 0.5 * fields.fractal(rng, shape, 12 / um, 4, 0.6)
    texture *= face["grain"]
    if face["marks"]:
        texture += face["marks"] * fields.grinding(rng, shape, face["marks_rad"], 1.2 / um)
    if face["pores"]:
        dots = np.zeros(shape, np.float32)
        ys = rng.integers(0, shape[0], face["pores"])
        xs = rng.integers(0, shape[1], face["pores"])
        dots[ys, xs] = rng.uniform(0.3, 1.0, face["pores"])
        spread = max(0.6, 0.55 / um)
        texture -= 0.35 * ndimage.gaussian_filter(dots, spread) * 2 * np.pi * spread**2
    if face["blotches"]:
        texture += face["blotches"] * fields.fractal(rng, shape, 45 / um, 3, 0.5).clip(-1.5, 1.5)
    return texture


def bore_chips(rng, x, y, face):
    """Small bites out of the ferrule's bore, just outside the cladding, filled with adhesive."""
    loss = np.zeros(np.broadcast(x, y).shape, np.float32)
    for _ in range(face["bore_chips"]):
        turn, reach = rng.uniform(0, 2 * np.pi), face["cladding_um"] / 2 + rng.uniform(0.5, 2.0)
        size = rng.uniform(1.0, 2.6)
        gap = np.hypot(x - reach * np.cos(turn), y - reach * np.sin(turn))
        loss = np.maximum(loss, rng.uniform(0.3, 0.7) * np.clip((size - gap) / 0.5, 0, 1))
    return loss


def bare_face(rng, view, face, multimode):
    """(without texture, with texture), both in linear light."""
    x, y = view.um_grid()
    angle = np.arctan2(y, x)
    radius = np.hypot(x, y)
    edge = face["cladding_um"] / 2
    inside = _soft(edge - radius, view)
    core = _core(x, y, face, view, multimode)
    bend = fields.wobble(rng, 360, 9)
    width = face["ring_um"]
    if face["ring"] == "uneven":
        turn = (np.degrees(angle) % 360).astype(np.float32)
        width = width * np.clip(
            1 + 0.4 * np.interp(turn, np.arange(360), bend, period=360), 0.3, 1.8
        )
    if face["ring"] == "thin":
        width = 0.5
    ring = _soft(radius - edge, view) * _soft(edge + width - radius, view)
    level = face["ring_level"] if face["ring"] != "bright" else 1.0 + face["ring_level"]
    ring_brightness = level * min(face["ferrule"], face["cladding"])
    if face["ring"] == "bright":
        ring_brightness = level * max(face["ferrule"], face["cladding"])
    outside = face["ferrule"] * (1 - ring) + ring_brightness * ring
    if face["bore_chips"]:
        outside = outside * (1 - bore_chips(rng, x, y, face))
    plain = inside * face["cladding"] * core + (1 - inside) * outside
    texture = ferrule_texture(rng, view, face) * (1 - inside) * (1 - 0.7 * ring)
    texture += face["mottle"] * fields.fractal(rng, plain.shape, 20 / view.um_per_px, 3) * inside
    return plain.astype(np.float32), (plain * (1 + texture)).astype(np.float32)
