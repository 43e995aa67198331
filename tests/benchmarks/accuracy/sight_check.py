"""Whether smallest_visible_um means what it says.

Clean faces are graded; then defects (discs) and scratches (30 um long) of exactly the stated size
and the stated contrast, as the picture stores it, are drawn on them in each zone, and the share
found is held against the stated rate. With --spread the sizes vary about the stated one, and the table
tells by which factor the stated size would have to be multiplied for the stated rate: 1 where it
holds. Run through scripts/bench-accuracy.sh --sight.
"""

import argparse
import collections
import datetime
import json
import math
import pathlib
import random
import subprocess

import numpy as np

import found
import placed
import psychometric
import yardstick

STATED_CONTRAST, STATED_RATE = 0.3, 0.95  # SightOptions
LINE_UM, RIM_UM, ON_RIM_UM = 30.0, 62.5, 1.5  # as src/sight/smallest_visible.cpp
WANTED = ("B-d", "D-d", "A-d", "B-s", "D-s", "C-d", "B-d", "D-d", "A-s", "C-s", "D-s", "B-s")
MOST = 10
MOST_UM = 15.0  # larger ones at the rim may be taken for the fibre itself

Placed = collections.namedtuple("Placed", "picture camera zone kind size stated found")


def linear_contrast(camera):
    """(1 - stated) in the stored value is this much less in linear light."""
    # stored = black + (1 - black) linear ^ (1 / gamma); the cameras here store no light as 0.
    return (1 - STATED_CONTRAST) ** camera["gamma"] - 1


def feature_of(rng, zone, scratch, size, contrast):
    inner, outer = placed.ZONES[zone]
    half = 0.5 * size
    turn = rng.uniform(0, 2 * math.pi)
    near = 0.0 if inner == 0 else inner + half + 0.05
    if not scratch:
        radius = math.sqrt(rng.uniform(near**2, max(near, outer) ** 2))
        return {
            "shape": "speck",
            "diameter_um": size,
            "centre_um": [radius * math.cos(turn), radius * math.sin(turn)],
            "contrast": contrast,
        }
    # The point nearest to the centre lies in the zone; the rest of it may lie further out.
    radius = math.sqrt(rng.uniform(near**2, max(near, outer - (15 if zone == "D" else 0)) ** 2))
    while abs(radius - RIM_UM) < ON_RIM_UM:  # a line along the rim is not spoken of
        radius = math.sqrt(rng.uniform(near**2, max(near, outer) ** 2))
    slide = rng.uniform(-LINE_UM / 2, LINE_UM / 2)
    return {
        "shape": "scratch",
        "width_um": size,
        "length_um": LINE_UM,
        "angle_deg": (math.degrees(turn) + 90) % 180,
        "centre_um": [
            radius * math.cos(turn) - slide * math.sin(turn),
            radius * math.sin(turn) + slide * math.cos(turn),
        ],
        "contrast": contrast,
    }


def stated(record):
    """{(zone, kind): size}"""
    sizes = {}
    for zone in record["fibres"][0]["zones"]:
        sizes[zone["name"], "d"] = zone["smallest_visible_um"]
        sizes[zone["name"], "s"] = zone["smallest_visible_scratch_um"]
    return sizes


def place(rng, sizes, contrast, spread):
    features = []
    for want in WANTED:
        zone, kind = want.split("-")
        size = sizes.get((zone, kind))
        if size is None or size > MOST_UM:
            continue
        drawn = size * spread ** rng.uniform(-0.5, 1) if spread > 1 else size
        for _ in range(15):
            feature = feature_of(rng, zone, kind == "s", min(MOST_UM, max(0.05, drawn)), contrast)
            if placed.is_apart(feature, features):
                features.append(feature | {"zone": zone, "kind": kind, "stated": size})
                break
        if len(features) == MOST:
            break
    return features


def draw(arguments, camera, seed, unstated):
    """[(placed truth path, what was placed)] over the clean faces of one camera."""
    done = []
    paths = placed.clean_faces(arguments.program, arguments.out, camera, seed, arguments.count)
    paths = [p for p in paths if placed.load(p)["gradable"] == "yes"]
    records = found.grade(arguments.program, [placed.picture_of(p) for p in paths])
    for path in paths:
        record = records[str(placed.picture_of(path))]
        if not record["fibres"]:
            continue
        scene = placed.load(path)["scene"]
        sizes = stated(record)
        for (zone, kind), size in sizes.items():
            unstated[camera, zone, kind].append(size is None)
        for shot in range(1, arguments.shots + 1):
            rng = random.Random(f"{scene['seed']} {camera} {shot}")
            features = place(rng, sizes, linear_contrast(scene["camera"]), arguments.spread)
            scene["camera"]["shot"] = shot
            plain = [{k: v for k, v in f.items() if k not in ("zone", "kind", "stated")} for f in features]
            folder = arguments.out / "sight" / camera
            name = f"{path.name[:13]}-{shot}"
            asked = folder / f"{name}.asked.json"
            # Sizes belong to the build that stated them: pictures of others are drawn again.
            if not asked.exists() or json.loads(asked.read_text()) != features:
                for old in folder.glob(f"{name}.*"):
                    old.unlink()
                placed.render_scene(arguments.program, scene | {"features": plain}, folder, name)
                asked.write_text(json.dumps(features))
            done.append((folder / f"{name}.truth.json", features))
    return done


def look(arguments, camera, pictures):
    records = found.grade(arguments.program, [placed.picture_of(p) for p, _ in pictures])
    seen = []
    for path, features in pictures:
        record = records[str(placed.picture_of(path))]
        if not record["fibres"]:
            continue
        truth = placed.load(path)
        on, _ = found.match(record, truth)
        for feature, true, hits in zip(features, truth["features"], on):
            if true["zone"] != feature["zone"] or true["in_view_fraction"] < 1:
                continue
            size = feature["diameter_um"] if feature["kind"] == "d" else feature["width_um"]
            seen.append(
                Placed(
                    path, camera, feature["zone"], feature["kind"], size, feature["stated"],
                    bool(hits),
                )  # fmt: skip
            )
    return seen


def share(some):
    k, n = sum(p.found for p in some), len(some)
    if n == 0:
        return "-"
    low, high = psychometric.wilson(k, n)
    return f"{100 * k / n:.1f} % of {n} ({100 * low:.0f} to {100 * high:.0f}), {np.median([p.size for p in some]):.2f} um"


def factor(some):
    """By what the stated size would have to be multiplied to be found at the stated rate."""
    if len(some) < 8:
        return "-"
    fitted = psychometric.fit([p.size / p.stated for p in some], [p.found for p in some])
    half, most = (psychometric.point_at(fitted, r) for r in (0.5, STATED_RATE))
    words = ["none" if f is None else f"{f:.2f}" for f in (half, most)]
    return f"50 % at {words[0]}, 95 % at {words[1]} ({len(some)})"


def table(seen, cameras, kind, share=share):
    lines = [
        "| camera | zone A | zone B | zone C | zone D | all |",
        "|---|---|---|---|---|---|",
    ]
    for camera in [*cameras, "all"]:
        mine = [p for p in seen if p.kind == kind and camera in (p.camera, "all")]
        cells = [share([p for p in mine if p.zone == z]) for z in "ABCD"]
        lines.append(f"| {camera} | {' | '.join(cells)} | {share(mine)} |")
    return "\n".join(lines)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--program", default="build/endgrade")
    parser.add_argument("--seed", type=int, default=yardstick.SEED_OF_REPORTS + 2000)
    parser.add_argument("--count", type=int, default=48, help="faces by each camera")
    parser.add_argument("--shots", type=int, default=3, help="pictures with features, each face")
    parser.add_argument("--spread", type=float, default=1.0, help="vary sizes up to this factor")
    parser.add_argument("--cameras", default=",".join(yardstick.CAMERAS))
    parser.add_argument("--out", type=pathlib.Path, default=pathlib.Path("build/accuracy/sight"))
    parser.add_argument("--command", default="scripts/bench-accuracy.sh --sight")
    arguments = parser.parse_args()
    arguments.out = arguments.out / f"seed-{arguments.seed}"
    cameras = arguments.cameras.split(",")
    seen, pictures, unstated = [], 0, collections.defaultdict(list)
    for i, camera in enumerate(cameras):
        drawn = draw(arguments, camera, arguments.seed + i * arguments.count, unstated)
        pictures += len(drawn)
        seen += look(arguments, camera, drawn)
    version = subprocess.run(
        [arguments.program, "--version"], stdout=subprocess.PIPE, text=True, check=True
    ).stdout.strip()
    words = factor if arguments.spread > 1 else share
    silent = sum(map(sum, unstated.values())) / max(1, sum(map(len, unstated.values())))
    text = (
        f"{datetime.date.today()}, {version}, {pictures} pictures of faces from seed "
        f"{arguments.seed} on: `{arguments.command}`. Stated: {100 * STATED_RATE:.0f} % found at a "
        f"contrast of {STATED_CONTRAST} in the picture. No size was stated for {100 * silent:.1f} % "
        f"of the zones. Cells: found (95 % interval), median stated size.\n\n"
        f"Defects:\n\n{table(seen, cameras, 'd', words)}\n\n"
        f"Scratches of {LINE_UM:.0f} um, by width:\n\n{table(seen, cameras, 's', words)}\n"
    )
    (arguments.out / "sight.md").write_text(text)
    (arguments.out / "seen.json").write_text(
        json.dumps([p._replace(picture=str(p.picture))._asdict() for p in seen])
    )
    print(text)


if __name__ == "__main__":
    main()
