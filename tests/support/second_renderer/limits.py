"""IEC 61300-3-35 edition 2 (2015) for 125 um fibres: zones, rules, verdict.

Written from the published figures alone (zones/README.md says how sure each is), so that a
mistake in the engine's limits files or in its counting does not repeat itself here.
"""

BORDERS_UM = {
    "sm-upc": (25, 115, 135, 250),
    "sm-pc": (25, 115, 135, 250),
    "sm-apc": (25, 115, 135, 250),
    "mm-pc": (65, 115, 135, 250),
}

# (zone, kind, test of size in um, allowed number)
_SM_B_DEFECTS = [
    ("B", "defect", lambda s: 2 <= s <= 5, 5),
    ("B", "defect", lambda s: s > 5, 0),
]
_SM_D = [("D", "defect", lambda s: s > 10, 0)]
RULES = {
    "sm-upc": [
        ("A", "scratch", lambda s: True, 0),
        ("A", "defect", lambda s: True, 0),
        ("B", "scratch", lambda s: s > 3, 0),
    ]
    + _SM_B_DEFECTS
    + _SM_D,
    "sm-apc": [
        ("A", "scratch", lambda s: s <= 3, 4),
        ("A", "scratch", lambda s: s > 3, 0),
        ("A", "defect", lambda s: True, 0),
    ]
    + _SM_B_DEFECTS
    + _SM_D,
    "sm-pc": [
        ("A", "scratch", lambda s: s <= 3, 2),
        ("A", "scratch", lambda s: s > 3, 0),
        ("A", "defect", lambda s: s <= 3, 2),
        ("A", "defect", lambda s: s > 3, 0),
        ("B", "scratch", lambda s: s > 3, 3),
    ]
    + _SM_B_DEFECTS
    + _SM_D,
    "mm-pc": [
        ("A", "scratch", lambda s: s > 3, 0),
        ("A", "defect", lambda s: s <= 5, 4),
        ("A", "defect", lambda s: s > 5, 0),
        ("B", "scratch", lambda s: s > 5, 0),
        ("B", "defect", lambda s: 5 <= s <= 10, 5),
        ("B", "defect", lambda s: s > 10, 0),
        ("D", "defect", lambda s: 20 <= s <= 30, 5),
        ("D", "defect", lambda s: s > 30, 0),
    ],
}


def zone_of(limits, radius_um):
    """The zone that holds a distance from the cladding's centre; None outside the contact zone."""
    for name, border in zip("ABCD", BORDERS_UM[limits]):
        if 2 * radius_um < border:
            return name
    return None


def broken(limits, features):
    """Rules that the features break, as sentences. A feature belongs to its innermost zone."""
    found = []
    zoned = [(f["kind"], f["size_um"], zone_of(limits, f["r_min_um"])) for f in features]
    for zone, kind, test, allowed in RULES[limits]:
        hits = [s for k, s, z in zoned if z == zone and k == kind and test(s)]
        if len(hits) > allowed:
            sizes = ", ".join(f"{s:.1f}" for s in sorted(hits, reverse=True)[:4])
            found.append(f"{zone}: {len(hits)} {kind} ({sizes} um), allowed {allowed}")
    return found


def _moved(features, size_step, radius_step, kinds):
    moved = []
    for f in features:
        least, share = (0.5, 0.15) if f["kind"] == "scratch" else (0.6, 0.10)
        g = dict(f)
        g["size_um"] = max(0.2, f["size_um"] + size_step * max(least, share * f["size_um"]))
        g["r_min_um"] = max(0.0, f["r_min_um"] + radius_step)
        if kinds and f.get("other_kind"):
            g["kind"], g["size_um"] = f["other_kind"]
        moved.append(g)
    return moved


def is_borderline(limits, features):
    """True if a size, a border, a kind or a barely visible feature decides the verdict."""
    truth = bool(broken(limits, features))
    clear = [f for f in features if f.get("visibility", "clear") == "clear"]
    for chosen in (features, clear):
        for size_step in (-1, 0, 1):
            for radius_step in (-1.0, 0.0, 1.0):
                for kinds in (False, True):
                    moved = _moved(chosen, size_step, radius_step, kinds)
                    if bool(broken(limits, moved)) != truth:
                        return True
    return False
