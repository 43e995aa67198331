"""Renders a lot of small end faces: cord-00001-A.jpg, cord-00001-B.jpg, ... Usage:

make_lot.py ENDGRADE OUT CORDS [SEED]

Invented faces, 320 x 300 pixels and quick to grade, a third of them dirty; every tenth dirty face
has a second attempt, clean. Two processes draw a quarter of the cords; the others are the same faces
mirrored, upside down and both, saved anew. These are drawings, never photographs.
"""

import json
import math
import pathlib
import random
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

from PIL import Image, ImageOps

CAMERA = {
    "name": "small", "width_px": 320, "height_px": 300, "um_per_px": 0.95,
    "numerical_aperture": 0.3, "aberration_um": 0.3, "full_well_e": 9000.0, "read_noise_e": 10.0,
    "jpeg_quality": 90,
}
FIBRE = {"present": True, "core_diameter_um": 9.0, "core_look": "plain", "core_contrast": 0.1,
         "cladding_diameter_um": 125.0}
FACE = {"glass_level": 0.5, "ferrule_level": 0.62, "adhesive": "dark", "adhesive_width_um": 1.5,
        "adhesive_level": 0.2, "grain_rms": 0.02}


def speck(rng, seed):
    radius = rng.uniform(6, 100)
    angle = rng.uniform(-60, 60) if rng.random() < 0.5 else rng.uniform(0, 360)
    x = radius * math.cos(math.radians(angle))
    y = radius * math.sin(math.radians(angle))
    return {"shape": "speck", "centre_um": [x, y], "diameter_um": rng.uniform(3, 16),
            "contrast": -rng.uniform(0.3, 0.8), "irregularity": 0.3, "seed": seed}


def scene(seed, dirty):
    rng = random.Random(seed)
    features = [speck(rng, seed + i) for i in range(rng.randint(1, 5))] if dirty else []
    return {"seed": seed, "limits_id": "sm-upc", "fibre": FIBRE, "face": FACE, "camera": CAMERA,
            "features": features}


TURNS = [None, ImageOps.mirror, ImageOps.flip, lambda face: ImageOps.flip(ImageOps.mirror(face))]


def draw(job):
    """One face, as so many cords' as there are turns and cords left."""
    endgrade, out, cords, cord, end, seed, dirty = job
    name = f"cord-{cord:05d}-{end}"
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / f"{name}.json"
        path.write_text(json.dumps(scene(seed, dirty)))
        subprocess.run([endgrade, "render", "--scene", path, "--out", folder], check=True)
        drawn = pathlib.Path(folder) / f"{name}.jpg"
        for number, turn in enumerate(TURNS):
            copy = out / f"cord-{cord + number * quarter_of(cords):05d}-{end}.jpg"
            if number == 0:
                copy.write_bytes(drawn.read_bytes())
            elif cord + number * quarter_of(cords) <= cords:
                with Image.open(drawn) as face:
                    turn(face).save(copy, quality=CAMERA["jpeg_quality"])


def quarter_of(cords):
    return math.ceil(cords / len(TURNS))


def main():
    endgrade, out, cords = sys.argv[1], pathlib.Path(sys.argv[2]), int(sys.argv[3])
    seed = int(sys.argv[4]) if len(sys.argv) > 4 else 1
    out.mkdir(parents=True, exist_ok=True)
    rng = random.Random(seed)
    jobs = []
    for cord in range(1, quarter_of(cords) + 1):
        for end in "AB":
            face_seed = seed * 10_000_000 + cord * 20 + (0 if end == "A" else 10)
            dirty = rng.random() < 1 / 3
            jobs.append((endgrade, out, cords, cord, end, face_seed, dirty))
            if dirty and rng.random() < 0.1:
                jobs.append((endgrade, out, cords, cord, f"{end}-2", face_seed + 1, False))
    with ThreadPoolExecutor(2) as pool:
        for _ in pool.map(draw, jobs):
            pass
    print(f"{len(list(out.glob('*.jpg')))} photographs of {cords} cords in {out}")


if __name__ == "__main__":
    main()
