"""One picture with its truth."""

import io

import numpy as np
from PIL import Image

import camera
import face as faces
import limits as tables
import no_fibre
import scenarios
import visibility
from geometry import binned
from marks import Mark, blob_cover
from styles import STYLES, draw_style

LIMITS = ["sm-upc", "sm-pc", "sm-apc", "mm-pc"]
LIMITS_SHARE = [0.42, 0.12, 0.18, 0.28]
SPOILERS = ["defocus", "shake", "cut_d", "cut_half", "tiny", "dark", "blown", "noisy", "fogged"]


def spoil(rng, style, how):
    """Changes a camera so that its picture cannot be graded."""
    style["spoiled"] = how
    style["extras"] = tuple(e for e in style["extras"] if e != "mask")
    if how == "defocus":
        style["defocus_um"] = rng.uniform(3.5, 9)
    elif how == "shake":
        style["shake_um"] = rng.uniform(9, 22)
    elif how == "tiny":
        style["span"] = rng.uniform(28, 62)
        style["offset_um"] = 60
    elif how == "noisy":
        style["well"], style["read"] = rng.uniform(15, 40), rng.uniform(0.06, 0.12)
    elif how in ("cut_d", "cut_half"):
        w, h = style["size"]
        span = style["span"]
        # Distance of the centre from the picture's border, in um: inside D, or inside B.
        left = rng.uniform(75, 105) if how == "cut_d" else rng.uniform(-15, 50)
        px = left * span / 125
        x = px if rng.random() < 0.5 else w - px
        y = px if rng.random() < 0.5 else h - px
        style["centre"] = (
            (x, h / 2) if rng.random() < 0.4 else (w / 2, y) if rng.random() < 0.6 else (x, y)
        )


def light_on_face(rng, view, face, multimode, marks, probes, sub):
    """(plain, textured, with marks, with marks and probes) on a grid `sub` times as fine."""
    fine = view.finer(sub)
    plain, textured = faces.bare_face(rng, fine, face, multimode)
    marked = textured.copy()
    for mark in marks:
        mark.paint(fine, marked)
    probed = marked.copy()
    for probe in probes:
        probe.paint(fine, probed)
    return plain, textured, marked, probed


def make_probes(rng, placer, limits):
    """2 um specks of 30 %: what must be seen before a face may pass. Never in the picture itself."""
    inner = 16 if limits != "mm-pc" else 4
    probes = []
    for _ in range(7):
        at = placer.place(inner, 54, 2.0, 4.0)
        if at is not None:
            cover = blob_cover(rng, 2.0, 0.02)
            probes.append(
                Mark("probe", "defect", at, 1.0, cover, lambda x, y, c: (1 - 0.3 * c, 0 * c))
            )
    return probes


def draw_marks(rng, limits, target):
    placer = scenarios.Placer(rng)
    if target == "fail":
        name, marks = scenarios.failing(rng, placer, limits)
    else:
        name, marks = "allowed", scenarios.allowed(rng, placer, limits)
    for mark in marks:
        mark.measure()
    return name, marks, placer


def as_rows(marks):
    return [dict(kind=m.kind, other_kind=m.other_kind, **m.truth) for m in marks]


def photograph(rng, style, view, face, limits, marks, probes):
    """(image, probe signal to noise, probe contrast). Fills in how visible every mark is."""
    sub = 2 if view.um_per_px > 0.4 else 1
    style["gain"] = camera.choose_gain(face, style)
    how = style.get("spoiled")
    style["gain"] *= {"dark": rng.uniform(0.008, 0.03), "blown": rng.uniform(5, 12)}.get(how, 1.0)
    style["field_shift"] = rng.uniform(-0.7, 0.7)
    style["field_gain"] = rng.uniform(-0.02, 0.02)
    um = view.um_per_px / style["enlarge"]
    style["mask_px"] = max(rng.uniform(145, 175) / um, 0.40 * style["size"][1])
    style["mask_centre"] = tuple(style["enlarge"] * c for c in view.centre)
    if how == "fogged":
        style["fog"] = rng.uniform(0.94, 0.975)
    lights = light_on_face(rng, view, face, limits == "mm-pc", marks, probes, sub)
    lamp = camera.illumination(rng, view, style)
    if style.get("fog"):
        lights = [light * (1 - style["fog"]) + style["fog"] * 0.4 for light in lights]
        style["well"] = min(style["well"], 2500)
    sensed = [camera.on_sensor(light, lamp, view, style, sub) for light in lights]
    plain, without, seen, probed = (camera.luma(camera.expose(s, style)) for s in sensed)
    noisy_without = Image.open(
        io.BytesIO(camera.encode(camera.to_bytes(camera.expose(sensed[1], style, rng)), style)[1])
    )
    store = camera.to_16_bits if style["sixteen"] else camera.to_bytes
    image = store(camera.expose(sensed[2], style, rng))
    enlarge = style["enlarge"]
    clean = camera.luma(noisy_without)
    visibility.assess(marks, seen, without, plain, clean, view, enlarge, rng)
    snr, contrast = visibility.probe_sight(probes, probed, seen, plain, clean, view, enlarge, rng)
    style["core_blown"] = visibility.blown_share(seen, view, enlarge, tables.BORDERS_UM[limits][0])
    return camera.overlays(rng, image, view, style), snr, contrast


def picture_without_fibre(rng, limits):
    style = draw_style(rng, rng.choice(["plain_grey", "vga", "jpeg_q35", "sharpened", "mono"]))
    scene = no_fibre.SCENES[int(rng.integers(len(no_fibre.SCENES)))]
    w, h = style["size"]
    image = scene(rng, (h, w))
    extension, content = camera.encode(image, style)
    truth = dict(
        limits=limits,
        style=style["name"],
        verdict="ungradable",
        borderline=False,
        why=f"no fibre: {scene.__name__}",
        gradable=False,
        has_fibre=False,
        centre_px=None,
        cladding_diameter_px=None,
        um_per_px=None,
        features=[],
    )
    return extension, content, truth


def picture_of_fibre(rng, limits, target, style_name=None):
    style = draw_style(rng, style_name or _pick_style(rng))
    multimode = limits == "mm-pc"
    face = faces.draw_parameters(rng, multimode, style["look"])
    if style["core_style"]:
        face["core_style"] = style["core_style"]
        face["lit_gain"] = rng.uniform(2.5, 6)
    if target == "ungradable":
        spoil(rng, style, str(rng.choice(SPOILERS)))
    elif target == "fail" and rng.random() < 0.05:
        spoil(rng, style, "cut_d")  # what is seen is enough
    view = camera.make_view(rng, style, face["cladding_um"])
    for _ in range(30):
        name, marks, placer = draw_marks(rng, limits, target)
        rows = as_rows(marks)
        verdict = "fail" if tables.broken(limits, rows) else "pass"
        if (verdict == "fail") == (target == "fail"):
            break
    probes = make_probes(rng, placer, limits)
    image, snr, contrast = photograph(rng, style, view, face, limits, marks, probes)
    extension, content = camera.encode(image, style)
    truth = judge(limits, marks, view, style, snr, contrast)
    k = style["enlarge"]
    truth.update(
        limits=limits,
        style=style["name"],
        scenario=style.get("spoiled", name),
        look=face["look"],
        core=face["core_style"],
        has_fibre=True,
        centre_px=[round((c + 0.5) * k - 0.5, 3) for c in view.centre],
        cladding_diameter_px=round(face["cladding_um"] / view.um_per_px * k, 3),
        um_per_px=round(view.um_per_px / k, 6),
        probe_snr=round(snr, 1),
        probe_contrast=round(contrast, 3),
        features=describe(limits, marks, view, k),
    )
    return extension, content, truth


def judge(limits, marks, view, style, snr, contrast):
    """Verdict of a careful person who knows the truth and looks at this picture."""
    rows = as_rows(marks)
    reasons = tables.broken(limits, rows)
    borderline = tables.is_borderline(limits, rows)
    if style.get("spoiled") in ("cut_d", "cut_half") and not reasons:
        return dict(
            verdict="ungradable",
            borderline=borderline,
            gradable=False,
            why="zones with rules are out of view",
        )
    if reasons and not borderline:
        return dict(verdict="fail", borderline=False, gradable=True, why="; ".join(reasons))
    pixel_um = view.um_per_px  # of the sensor: enlarging afterwards adds nothing
    blown = style["core_blown"]
    sees = snr > 11 and contrast > 0.075 and pixel_um < 0.85 and blown < 0.2
    blind = snr < 4 or contrast < 0.04 or pixel_um > 1.25 or blown > 0.4
    if sees:
        return dict(
            verdict="fail" if reasons else "pass",
            borderline=borderline,
            gradable=True,
            why="; ".join(reasons) or "every rule holds",
        )
    if blown >= 0.2:
        return dict(
            verdict="ungradable",
            borderline=borderline or not blind,
            gradable=False,
            why=f"{100 * blown:.0f} % of zone A is white or black",
        )
    why = f"2 um speck of 30 %: signal to noise {snr:.1f}, contrast {contrast:.3f}, {pixel_um:.2f} um/px"
    return dict(verdict="ungradable", borderline=borderline or not blind, gradable=False, why=why)


def describe(limits, marks, view, enlarge):
    rows = []
    for mark in marks:
        t = mark.truth
        at = (view.px_from_um(np.atleast_2d(mark.centre))[0] + 0.5) * enlarge - 0.5
        row = {
            "kind": mark.kind,
            "name": mark.name,
            "size_um": round(t["size_um"], 2),
            "zone": tables.zone_of(limits, t["r_min_um"]),
            "centre_px": [round(float(v), 1) for v in at],
            "centre_um": [round(float(v), 2) for v in mark.centre],
            "r_min_um": round(t["r_min_um"], 2),
            "extent_um": round(float(mark.extent_um), 2),
            "contrast": t["contrast_seen"],
            "snr": t["snr"],
            "visibility": t["visibility"],
            "removable": mark.removable,
        }
        if "length_um" in t:
            row["length_um"], row["width_um"] = round(t["length_um"], 1), round(t["width_um"], 2)
            row["path_um"] = [[round(float(v), 1) for v in p] for p in mark.points[::3]]
        rows.append(row)
    return rows


def _pick_style(rng):
    names = list(STYLES)
    weights = np.array([STYLES[n]["weight"] for n in names])
    return str(rng.choice(names, p=weights / weights.sum()))
