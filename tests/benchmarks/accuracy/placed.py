"""Faces with one feature here and one there, each at a signal-to-noise that was asked for.

A clean face of `endgrade render` is the ground. Features lie apart from one another; each is drawn
once faintly, its signal-to-noise read from the truth, and its contrast set to what the wanted one
takes (it is proportional to the contrast). Faces, pictures and truths stay in a folder and are drawn
only once.
"""

import json
import math
import pathlib
import random
import subprocess

APART_UM = 9.0
TRIAL_CONTRAST = -0.2
DARKEST, BRIGHTEST = -0.95, 2.0
ZONES = {"A": (0, 12.5), "B": (12.5, 57.5), "C": (57.5, 67.5), "D": (67.5, 123.0)}
KINDS = ("speck", "speck", "speck", "pit", "scratch", "scratch", "film")


def load(path):
    return json.loads(path.read_text())


def run_render(program, *arguments):
    subprocess.run([program, "render", *map(str, arguments)], check=True)


def picture_of(truth_path):
    stem = str(truth_path)[: -len(".truth.json")]
    return next(p for p in (pathlib.Path(stem + s) for s in (".jpg", ".png")) if p.exists())


def clean_faces(program, folder, camera, seed, count):
    """Truth files of clean faces by one camera, drawn if they are not there."""
    folder = folder / "clean" / camera
    wanted = [folder / f"render-{s:06d}.truth.json" for s in range(seed, seed + count)]
    for path in wanted:
        if not path.exists():
            number = int(path.name[7:13])
            run_render(program, "--preset", "clean", "--camera", camera, "--limits", "sm-upc",
                       "--seed", number, "--out", folder)  # fmt: skip
    return wanted


def render_scene(program, scene, folder, name):
    """The truth of a scene, drawn into folder/name.* unless it is there already."""
    folder.mkdir(parents=True, exist_ok=True)
    truth_path = folder / f"{name}.truth.json"
    if not truth_path.exists():
        scene_path = folder / f"{name}.json"
        scene_path.write_text(json.dumps(scene))
        run_render(program, "--scene", scene_path, "--out", folder)
        scene_path.unlink()
    return load(truth_path)


def log_uniform(rng, low, high):
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def outline_points(feature):
    """Points along the middle of a placed feature, um, and its half width."""
    x, y = feature["centre_um"]
    if feature["shape"] != "scratch":
        return [(x, y)], 0.5 * feature["diameter_um"]
    turn = math.radians(feature["angle_deg"])
    half = 0.5 * feature["length_um"]
    steps = max(2, int(half))
    along = [half * (2 * i / steps - 1) for i in range(steps + 1)]
    return [(x + a * math.cos(turn), y + a * math.sin(turn)) for a in along], 0.5 * feature[
        "width_um"
    ]


def is_apart(feature, others):
    points, half = outline_points(feature)
    for other in others:
        there, other_half = outline_points(other)
        least = min(math.dist(p, q) for p in points for q in there)
        if least < half + other_half + APART_UM:
            return False
    return all(math.hypot(*p) < 123.0 for p in points)


def random_feature(rng, kind, zone):
    inner, outer = ZONES[zone]
    feature = {"shape": kind, "seed": rng.randrange(1, 1 << 31), "kind_asked": kind}
    if kind == "scratch":
        feature |= {
            "length_um": log_uniform(rng, 20, 150 if zone != "A" else 40),
            "width_um": log_uniform(rng, 0.4, 4),
            "angle_deg": rng.uniform(0, 180),
        }
        size = feature["width_um"]
    else:
        low, high = {"speck": (0.6, 5), "pit": (1.5, 5), "film": (12, 35)}[kind]
        size = feature["diameter_um"] = log_uniform(rng, low, high)
    reach = 0.5 * size
    far = max(inner + reach, outer - (reach if kind == "film" else 0.5))
    near = 0.0 if inner == 0 else inner + reach + 0.3
    radius = math.sqrt(rng.uniform(near**2, max(near, far) ** 2))
    turn = rng.uniform(0, 2 * math.pi)
    feature["centre_um"] = [radius * math.cos(turn), radius * math.sin(turn)]
    sign = -1 if kind in ("pit",) or rng.random() < 0.7 else 1
    feature["contrast"] = sign * abs(TRIAL_CONTRAST)
    if kind == "pit":
        feature["rim_contrast"] = abs(TRIAL_CONTRAST) * rng.uniform(0.3, 1.0)
    return feature


def place(rng, most=9):
    """Features apart from one another, every zone and kind in turn."""
    placed = []
    order = [(k, z) for k in KINDS for z in "AABBCDD"]
    rng.shuffle(order)
    for kind, zone in order:
        if kind == "film" and zone in "AC":
            continue
        for _ in range(12):
            feature = random_feature(rng, kind, zone)
            if is_apart(feature, placed):
                placed.append(feature)
                break
        if len(placed) >= most:
            break
    return placed


def at_snr(feature, snr_now, snr_wanted):
    """The feature with its contrast set, or as strong as it can be."""
    factor = snr_wanted / max(snr_now, 1e-9)
    contrast = feature["contrast"] * factor
    factor = max(DARKEST, min(BRIGHTEST, contrast)) / feature["contrast"]
    changed = dict(feature, contrast=feature["contrast"] * factor)
    if "rim_contrast" in feature:
        changed["rim_contrast"] = min(BRIGHTEST, feature["rim_contrast"] * factor)
    return changed


def scene_features(features):
    return [{k: v for k, v in f.items() if k != "kind_asked"} for f in features]


def speckled_face(program, folder, clean_path, snr_low, snr_high):
    """Truth of the same face with features on it and new noise; picture and truth are kept."""
    name = clean_path.name[: -len(".truth.json")]
    out = folder / "placed" / clean_path.parent.name
    path = out / f"{name}.truth.json"
    if path.exists():
        return path
    scene = load(clean_path)["scene"]
    rng = random.Random(f"{scene['seed']} {clean_path.parent.name}")
    scene["features"] = place(rng)
    scene["camera"]["shot"] = 1
    trial = dict(scene, features=scene_features(scene["features"]))
    seen = render_scene(program, trial, folder / "trial" / clean_path.parent.name, name)
    picture_of(folder / "trial" / clean_path.parent.name / f"{name}.truth.json").unlink()
    changed = []
    for feature, true in zip(scene["features"], seen["features"]):
        wanted = log_uniform(rng, snr_low, snr_high)
        if true["snr"] > 0:
            changed.append(at_snr(feature, true["snr"], wanted))
    render_scene(program, dict(scene, features=scene_features(changed)), out, name)
    return path
