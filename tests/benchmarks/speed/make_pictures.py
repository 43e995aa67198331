#!/usr/bin/python3
"""Draws the pictures that speed is measured on: three cameras, three faces; sizes; counts.

  make_pictures.py --endgrade build/endgrade --out DIR

Every scene has a fixed seed: the same program draws the same bytes. What is there already is kept.
"""

import argparse
import math
import pathlib
import random
import subprocess

# name: base camera, width, height, um a pixel. The cladding fills 0.42 to 0.48 of the height.
CAMERAS = {
    "0.3mp": ("probe", 640, 480, 0.58),
    "2mp": ("colour-bench", 1920, 1080, 0.26),
    "5mp": ("large", 2592, 1944, 0.15),
}
# The same face at other sizes, to see how cost grows with the pixels inside the contact circle.
SIZES = {
    "size-0.3mp": ("colour-bench", 640, 480, 0.58),
    "size-1.2mp": ("colour-bench", 1280, 960, 0.29),
    "size-5mp": ("colour-bench", 2592, 1944, 0.145),
    "size-12mp": ("colour-bench", 4000, 3000, 0.094),
}
COUNTS = (50, 500, 5000)  # specks on one 1920 x 1080 face
LIMITS = "sm-upc"


def place(rng, inner_um, outer_um):
    """A point spread evenly over a ring."""
    radius = math.sqrt(rng.uniform(inner_um**2, outer_um**2))
    angle = rng.uniform(0, 2 * math.pi)
    return [round(radius * math.cos(angle), 2), round(radius * math.sin(angle), 2)]


def speck(rng, low_um, high_um, inner_um=20, outer_um=120):
    return {
        "shape": "speck",
        "centre_um": place(rng, inner_um, outer_um),
        "diameter_um": round(rng.uniform(low_um, high_um), 2),
        "irregularity": 0.1,
        "contrast": round(rng.choice([-0.6, -0.4, -0.3, 0.5]), 2),
        "seed": rng.randrange(1, 1000),
    }


def scratch(rng, length_um, width_um, contrast):
    return {
        "shape": "scratch",
        "centre_um": place(rng, 5, 45),
        "length_um": length_um,
        "width_um": width_um,
        "angle_deg": rng.randrange(0, 180),
        "contrast": contrast,
        "fade_um": 8,
    }


def clean(_rng):
    return []


def typical(rng):
    """A face as they come off the shelf: some dust, one faint scratch."""
    return [speck(rng, 1.5, 5) for _ in range(6)] + [scratch(rng, 60, 1.0, -0.2)]


def filthy(rng):
    """Dust all over, films, a dried droplet, a hair, scratches."""
    features = [speck(rng, 1.5, 9, 0) for _ in range(70)]
    features += [scratch(rng, rng.randrange(40, 160), 1.5, -0.35) for _ in range(6)]
    for shape, diameter_um, contrast in (("film", 45, -0.2), ("film", 30, 0.2), ("droplet", 40, -0.4)):
        features.append(
            {
                "shape": shape,
                "centre_um": place(rng, 10, 90),
                "diameter_um": diameter_um,
                "irregularity": 0.15,
                "contrast": contrast,
                "seed": rng.randrange(1, 1000),
            }
        )
    features.append(
        {
            "shape": "hair",
            "centre_um": place(rng, 60, 90),
            "length_um": 180,
            "width_um": 12,
            "angle_deg": 30,
            "contrast": -0.6,
            "rim_contrast": 0.3,
            "opacity": 0.9,
        }
    )
    return features


def toml(value):
    if isinstance(value, str):
        return f'"{value}"'
    return str(value)


def scene(seed, camera, features):
    base, width, height, um_per_px = camera
    lines = [f"seed = {seed}", f'limits_id = "{LIMITS}"', "", "[fibre]", 'core_look = "dark"']
    lines += ["", "[camera]", f'base = "{base}"', f"width_px = {width}", f"height_px = {height}"]
    lines += [f"um_per_px = {um_per_px}", "centre_offset_px = [12, -7]", "jpeg_quality = 90"]
    for feature in features:
        lines += ["", "[[features]]"] + [f"{key} = {toml(value)}" for key, value in feature.items()]
    return "\n".join(lines) + "\n"


def scenes():
    """(name, scene text) of every picture."""
    seed = 4001  # not used for tuning or reporting of accuracy
    for camera_name, camera in CAMERAS.items():
        for face in (clean, typical, filthy):
            yield f"{camera_name}-{face.__name__}", scene(seed, camera, face(random.Random(seed)))
            seed += 1
    for name, camera in SIZES.items():
        yield name, scene(4100, camera, typical(random.Random(4100)))
    for count in COUNTS:
        rng = random.Random(4200)
        features = [speck(rng, 1.2, 1.8, 0, 123) for _ in range(count)]
        yield f"count-{count}", scene(4200, CAMERAS["2mp"], features)


def draw(endgrade, folder):
    """Paths of all pictures, in order."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, text in scenes():
        path = folder / f"{name}.jpg"
        source = folder / f"{name}.toml"
        paths.append(path)
        if path.exists() and source.exists() and source.read_text() == text:
            continue
        path.unlink(missing_ok=True)
        source.write_text(text)
        subprocess.run(
            [str(endgrade), "render", "--scene", str(source), "--out", str(folder)],
            check=True,
            stdout=subprocess.DEVNULL,
        )
        if not path.exists():
            raise SystemExit(f"{source}: drawn, but {path} is not there")
    return paths


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--endgrade", type=pathlib.Path, default="build/endgrade")
    parser.add_argument("--out", type=pathlib.Path, required=True)
    arguments = parser.parse_args()
    for path in draw(arguments.endgrade, arguments.out):
        print(path)


if __name__ == "__main__":
    main()
