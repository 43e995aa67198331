"""What lies on the face: allowed marks, and the one that decides."""

import numpy as np

import contamination as dirt
import damage

CLADDING_UM = 62.5


class Placer:
    """Random places in a ring of the face, apart from what is there already."""

    def __init__(self, rng):
        self.rng, self.taken = rng, []

    def place(self, inner_um, outer_um, size_um, gap_um=5.0):
        for _ in range(300):
            radius = np.sqrt(self.rng.uniform(inner_um**2, outer_um**2))
            turn = self.rng.uniform(0, 2 * np.pi)
            at = radius * np.array([np.cos(turn), np.sin(turn)])
            if all(np.hypot(*(at - p)) > (s + size_um) / 2 + gap_um for p, s in self.taken):
                self.taken.append((at, size_um))
                return at
        return None


def _add(marks, make, at, *args, **more):
    if at is not None:
        marks.append(make(at, *args, **more))


# ---------------------------------------------------------------- allowed marks


def small_specks_in_b(rng, placer, limits, count):
    """Specks that zone B allows: at most 5 of 2 to 5 um (5 to 10 um for multimode)."""
    low, high = (2.6, 4.2) if limits != "mm-pc" else (2.8, 8.5)
    inner = 15.5 if limits != "mm-pc" else 36.0
    marks = []
    for _ in range(count):
        size = rng.uniform(low, high)
        at = placer.place(inner + size / 2, 55.5 - size / 2, size)
        _add(marks, lambda p, s: dirt.speck(rng, p, s), at, size)
    return marks


def fine_dust(rng, placer, limits):
    """Many specks too small to count."""
    marks = []
    for _ in range(int(rng.integers(5, 14))):
        size = rng.uniform(0.8, 1.2)
        _add(
            marks,
            lambda p, s: dirt.speck(rng, p, s, rng.uniform(0.4, 0.8), False),
            placer.place(18 if limits != "mm-pc" else 37, 54, size),
            size,
        )
    return marks


def marks_in_core(rng, placer, limits):
    """What the milder tables allow in zone A."""
    marks = []
    if limits == "mm-pc":
        for _ in range(int(rng.integers(1, 4))):
            size = rng.uniform(2.2, 3.9)
            _add(marks, lambda p, s: dirt.speck(rng, p, s), placer.place(0, 29, size), size)
    elif limits == "sm-pc" and rng.random() < 0.5:
        _add(marks, lambda p: dirt.speck(rng, p, 2.2), placer.place(2, 8, 2.2))
    else:
        marks = [
            damage.scratch_at(
                rng,
                rng.uniform(1, 9),
                rng.uniform(40, 100),
                rng.uniform(0.9, 2.0),
                rng.uniform(0.2, 0.5),
            )
            for _ in range(int(rng.integers(1, 4 if limits == "sm-apc" else 3)))
        ]
    return marks


def dirt_in_d(rng, placer, limits, count):
    marks = []
    for _ in range(count):
        size = rng.uniform(3, 8.3 if limits != "mm-pc" else 17)
        at = placer.place(70 + size / 2, 122 - size / 2, size)
        make = rng.choice([dirt.speck, dirt.salt, dirt.dust_cluster])
        _add(marks, lambda p, s: make(rng, p, s), at, size)
    return marks


def dirt_outside(rng, placer, count):
    marks = []
    for _ in range(count):
        size = float(np.exp(rng.uniform(np.log(4), np.log(70))))
        at = placer.place(131 + size * 0.75, 230 + size, size)
        make = rng.choice(
            [
                dirt.speck,
                dirt.dust_cluster,
                dirt.oil_smear,
                dirt.finger_oil,
                dirt.dried_droplet,
                dirt.gel,
                dirt.salt,
            ]
        )
        _add(marks, lambda p, s: make(rng, p, s), at, size)
    if rng.random() < 0.25:
        at = placer.place(260, 330, 100)
        _add(marks, lambda p: dirt.lint(rng, p, rng.uniform(80, 200)), at)
    return marks


def allowed_scratches(rng, limits, count):
    marks = []
    for _ in range(count):
        where = rng.choice(["B", "D", "D", "C"] if limits != "mm-pc" else ["A", "B", "D", "D"])
        depth = rng.uniform(0.15, 0.5)
        if where == "D":
            nearest = rng.uniform(70, 118)
            marks.append(
                damage.scratch_at(
                    rng,
                    nearest,
                    rng.uniform(30, 180),
                    rng.uniform(0.8, 8),
                    depth,
                    breaks=rng.uniform(0, 0.3),
                )
            )
        elif where == "C":
            marks.append(
                damage.radial_scratch(
                    rng, rng.uniform(60, 65), rng.uniform(10, 60), rng.uniform(0.8, 4), depth
                )
            )
        else:
            inner = (
                {"A": 4.0, "B": 17.0}[where] if limits != "mm-pc" else {"A": 3.0, "B": 37.0}[where]
            )
            outer = 52.0 if where == "B" else 28.0
            marks.append(
                damage.scratch_at(
                    rng,
                    rng.uniform(inner, outer),
                    rng.uniform(15, 90),
                    rng.uniform(0.9, 2.1),
                    depth,
                    bright=rng.random() < 0.15,
                    breaks=rng.uniform(0, 0.25),
                )
            )
    return marks


def allowed(rng, placer, limits):
    marks = []
    if rng.random() < 0.22:
        return marks
    if rng.random() < 0.55:
        marks += small_specks_in_b(rng, placer, limits, int(rng.integers(1, 5)))
    if rng.random() < 0.55:
        marks += dirt_in_d(rng, placer, limits, int(rng.integers(1, 6)))
    if rng.random() < 0.5:
        marks += dirt_outside(rng, placer, int(rng.integers(1, 7)))
    if rng.random() < 0.5:
        marks += allowed_scratches(rng, limits, int(rng.integers(1, 4)))
    if limits != "sm-upc" and rng.random() < 0.3:
        marks += marks_in_core(rng, placer, limits)
    if rng.random() < 0.08:
        marks += fine_dust(rng, placer, limits)
    return marks


# ---------------------------------------------------------------- deciding marks


def speck_beyond_count(rng, placer, limits):
    """One too many of the counted size, each faint to middling."""
    low, high = (3.0, 4.2) if limits != "mm-pc" else (6.0, 8.6)
    inner = 15.5 if limits != "mm-pc" else 36.0
    marks = []
    for _ in range(int(rng.integers(6, 9))):
        size = rng.uniform(low, high)
        _add(
            marks,
            lambda p, s: dirt.speck(rng, p, s, rng.uniform(0.3, 0.5), False),
            placer.place(inner + size / 2, 55 - size / 2, size),
            size,
        )
    return marks


def single_in_b(rng, placer, limits):
    size = rng.uniform(6.0, 9.0) if limits != "mm-pc" else rng.uniform(11.5, 16)
    make = rng.choice([dirt.speck, dirt.salt, dirt.dust_cluster, damage.pit])
    at = placer.place(20 if limits != "mm-pc" else 38, 55 - size / 2, size)
    return [make(rng, at, size, rng.uniform(0.3, 0.6))] if at is not None else []


def speck_in_core(rng, placer, limits):
    size = rng.uniform(2.5, 6) if limits not in ("mm-pc", "sm-pc") else rng.uniform(6.2, 10)
    at = placer.place(0, 9.5 if limits != "mm-pc" else 26, size)
    make = rng.choice([dirt.speck, damage.pit, damage.burn])
    return [make(rng, at, size, rng.uniform(0.35, 0.7))] if at is not None else []


def scratch_through_core(rng, placer, limits):
    """Thin and faint but visible; where thin ones are allowed, more of them or a wide one."""
    if limits == "sm-upc":
        return [
            damage.scratch_at(
                rng,
                rng.uniform(0, 9),
                rng.uniform(50, 130),
                rng.uniform(0.9, 1.8),
                rng.uniform(0.12, 0.35),
                breaks=rng.uniform(0, 0.2),
                bright=rng.random() < 0.2,
            )
        ]
    if limits == "mm-pc" or rng.random() < 0.6:
        return [
            damage.scratch_at(
                rng,
                rng.uniform(0, 9),
                rng.uniform(50, 120),
                rng.uniform(4.0, 6.0),
                rng.uniform(0.25, 0.5),
            )
        ]
    count = {"sm-pc": 4, "sm-apc": 6}[limits]
    return [
        damage.scratch_at(
            rng,
            rng.uniform(0, 9),
            rng.uniform(50, 110),
            rng.uniform(1.0, 1.9),
            rng.uniform(0.25, 0.5),
        )
        for _ in range(count)
    ]


def wide_scratch_in_b(rng, placer, limits):
    low, high = (4.0, 5.5) if limits != "mm-pc" else (6.4, 8.0)
    inner = rng.uniform(18, 45) if limits != "mm-pc" else rng.uniform(39, 48)
    count = 5 if limits == "sm-pc" else 1
    return [
        damage.scratch_at(
            rng,
            inner + (3 * k if k else 0),
            rng.uniform(30, 70),
            rng.uniform(low, high),
            rng.uniform(0.2, 0.5),
        )
        for k in range(count)
    ]


def large_in_d(rng, placer, limits):
    size = rng.uniform(12.5, 24) if limits != "mm-pc" else rng.uniform(34.5, 46)
    make = rng.choice([dirt.speck, dirt.dust_cluster, dirt.salt, dirt.gel, damage.pit])
    at = placer.place(71 + size / 2, 116 - size / 2 if size < 30 else 100, size)
    return [make(rng, at, size, rng.uniform(0.35, 0.75))] if at is not None else []


def film_on_cladding(rng, placer, limits):
    size = rng.uniform(22, 70)
    make = rng.choice([dirt.residue_film, dirt.oil_smear, dirt.dried_droplet, dirt.finger_oil])
    at = placer.place(8, 48, size)
    return [make(rng, at, size)] if at is not None else []


def dirty_all_over(rng, placer, limits):
    """A face nobody would pass: many specks, smears and droplets."""
    marks = []
    for _ in range(int(rng.integers(15, 60))):
        size = float(np.exp(rng.normal(np.log(5), 0.6)).clip(1.2, 25))
        make = rng.choice([dirt.speck, dirt.speck, dirt.salt, dirt.dust_cluster])
        _add(marks, lambda p, s: make(rng, p, s), placer.place(0, 190, size, 2), size)
    for _ in range(int(rng.integers(0, 3))):
        size = rng.uniform(30, 90)
        _add(marks, lambda p, s: dirt.oil_smear(rng, p, s), placer.place(0, 150, size, -40), size)
    return marks


def lint_across(rng, placer, limits):
    return [dirt.lint(rng, placer.place(0, 40, 20), rng.uniform(90, 220))]


def chip_in_rim(rng, placer, limits):
    return [damage.chip(rng, CLADDING_UM, rng.uniform(8, 16), rng.uniform(16, 34))]


def crack_in_glass(rng, placer, limits):
    turn = rng.uniform(0, 2 * np.pi)
    start = CLADDING_UM * np.array([np.cos(turn), np.sin(turn)])
    inward = turn + np.pi + rng.uniform(-0.35, 0.35)
    return [
        damage.crack(
            rng, start, inward, rng.uniform(60, 105), rng.uniform(1.2, 2.4), rng.uniform(0.4, 0.8)
        )
    ]


def droplet_over_d(rng, placer, limits):
    size = rng.uniform(35, 80)
    make = rng.choice([dirt.dried_droplet, dirt.gel, dirt.oil_smear, dirt.finger_oil])
    at = placer.place(75 + size / 4, 118, size)
    return [make(rng, at, size)] if at is not None else []


def ring_of_debris(rng, placer, limits):
    """Pushed aside by mating: an arc of grains across zones B to D, some of them too large."""
    marks = dirt.debris_ring(rng, rng.uniform(38, 50), rng.uniform(0.2, 0.9))
    placer.taken += [(m.centre, 2 * m.extent_um) for m in marks]
    return marks + large_in_d(rng, placer, limits)


def stain_round_core(rng, placer, limits):
    """A droplet that dried about the fibre's middle: its rim runs around the core."""
    size = rng.uniform(30, 100)
    at = placer.place(0, 8, size)
    return [dirt.dried_droplet(rng, at, size, rng.uniform(0.25, 0.5))]


DECIDING = {
    "speck_beyond_count": (speck_beyond_count, 1.2),
    "single_in_b": (single_in_b, 1.8),
    "speck_in_core": (speck_in_core, 1.2),
    "scratch_through_core": (scratch_through_core, 2.0),
    "wide_scratch_in_b": (wide_scratch_in_b, 1.2),
    "large_in_d": (large_in_d, 1.5),
    "film_on_cladding": (film_on_cladding, 1.5),
    "dirty_all_over": (dirty_all_over, 1.0),
    "lint_across": (lint_across, 0.5),
    "chip_in_rim": (chip_in_rim, 0.8),
    "crack_in_glass": (crack_in_glass, 0.6),
    "droplet_over_d": (droplet_over_d, 0.8),
    "ring_of_debris": (ring_of_debris, 0.5),
    "stain_round_core": (stain_round_core, 0.5),
}


def failing(rng, placer, limits):
    names = list(DECIDING)
    weights = np.array([DECIDING[n][1] for n in names])
    name = str(rng.choice(names, p=weights / weights.sum()))
    return name, DECIDING[name][0](rng, placer, limits) + (
        allowed(rng, placer, limits) if rng.random() < 0.6 else []
    )
