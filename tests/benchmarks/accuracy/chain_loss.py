"""What a camera's own chain costs the ideal observer, and whether the truth's d' holds.

The truth's d' is of the raw sensor. Here the same small piece of a face is rendered many times with
new grain and new noise, once with a feature and mostly without, as the stored file shows it (tone
curve, sharpening, demosaicing, JPEG). The observer of those pixels is Hotelling's seen through ten Laguerre-Gauss channels (Gallas and
Barrett, J. Opt. Soc. Am. A 20 (2003), 1725; from memory), which lose next to nothing for a round
speck in even noise and need few pictures: trained on three quarters, scored on the rest, four times.
Its d' over the truth's is 1 where the camera loses nothing, and less by what rounding after
sharpening, demosaicing and JPEG lose. Run through scripts/bench-accuracy.sh --chain.
"""

import argparse
import datetime
import json
import pathlib
import tempfile

import numpy as np
from PIL import Image
from scipy import special

import placed

SIDE = 72
CAMERAS = ("probe", "wide-probe", "grabber", "bench", "colour-bench", "blue-bench", "phone")
PLACES = {"glass": (35.0, 0.0), "ferrule": (95.0, 0.0)}


def piece(base, place_um, seed, camera_px):
    """The base scene seen through a small window around a place of the face."""
    scene = json.loads(json.dumps(base))
    scene["seed"] = seed
    scene["camera"] |= {
        "width_px": SIDE, "height_px": SIDE, "mask_diameter": 0.0, "rotation_deg": 0.0,
        "centre_offset_px": [-place_um[0] / camera_px[0], -place_um[1] / camera_px[1]],
        "vignetting": 0.0, "light_slope": 0.0, "lens_dirt": 0, "hot_pixels": 0, "sensor_dust": 0,
        "caption": "", "reticle": False, "moire": 0.0, "tilt_deg": 0.0, "focus_slope": 0.0,
    }  # fmt: skip
    return scene


def luma(program, scene, folder, name):
    truth = placed.render_scene(program, scene, folder, name)
    path = placed.picture_of(folder / f"{name}.truth.json")
    values = np.asarray(Image.open(path).convert("L"), float)
    path.unlink()
    (folder / f"{name}.truth.json").unlink()
    return values, truth


def channels(side, width, count=10):
    """Laguerre-Gauss functions on a square of pixels, one a column; width: of the Gaussian, px."""
    y, x = np.indices((side, side)) - side // 2
    g = 2 * np.pi * (x**2 + y**2) / width**2
    columns = [(np.exp(-g / 2) * special.eval_laguerre(n, g)).ravel() for n in range(count)]
    return np.column_stack([c / np.linalg.norm(c) for c in columns])


def hotelling(clean, signal, folds=4):
    """d' of the linear observer, trained and scored on different pictures."""
    fold = np.arange(len(clean)) % folds
    squares = []
    for i in range(folds):
        template = np.linalg.solve(np.cov(clean[fold != i].T), signal)
        squares.append((template @ signal) ** 2 / np.var(clean[fold == i] @ template, ddof=1))
    return float(np.sqrt(np.mean(squares)))


def measure(program, camera, place, pictures, snr=6.0):
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        placed.run_render(program, "--preset", "clean", "--camera", camera, "--limits", "sm-upc",
                          "--seed", 71, "--out", folder)  # fmt: skip
        base = placed.load(folder / "render-000071.truth.json")["scene"]
        px = base["camera"]["um_per_px"], base["camera"]["um_per_px"] * base["camera"]["pixel_aspect"]
        place_um = PLACES[place]
        size = max(1.6, 2.2 * px[0])
        speck = {"shape": "speck", "diameter_um": size, "centre_um": list(place_um), "contrast": -0.2}
        trial = piece(base, place_um, 1, px) | {"features": [speck]}
        _, truth = luma(program, trial, folder, "trial")
        speck["contrast"] *= snr / truth["features"][0]["snr"]
        patch = 16
        middle = slice(SIDE // 2 - patch, SIDE // 2 + patch + 1)
        # Twice the blurred speck's own width holds all of it in the first channels.
        spread = np.hypot(size / 4, truth["blur_fwhm_um"] / 2.3548) / px[0]
        seen_by = channels(2 * patch + 1, 2 * np.sqrt(2 * np.pi) * spread)
        differences, d_primes, clean = [], [], []
        for seed in range(1, pictures + 1):
            scene = piece(base, place_um, seed, px)
            values, _ = luma(program, scene, folder, "clean")
            clean.append(values[middle, middle].ravel() @ seen_by)
            if seed <= pictures // 8:
                scene["features"] = [speck]
                with_speck, truth = luma(program, scene, folder, "speck")
                differences.append(with_speck[middle, middle].ravel() @ seen_by - clean[-1])
                d_primes.append(truth["features"][0]["snr"])
        d_prime = hotelling(np.array(clean), np.mean(differences, 0))
        return np.mean(d_primes), d_prime


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--program", default="build/endgrade")
    parser.add_argument("--pictures", type=int, default=400)
    parser.add_argument("--cameras", default=",".join(CAMERAS))
    parser.add_argument("--out", type=pathlib.Path, default=pathlib.Path("build/accuracy"))
    parser.add_argument("--command", default="scripts/bench-accuracy.sh --chain")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    lines = [
        "| camera | ground | d' by the truth (raw sensor) | d' of a linear observer of the stored file | kept |",
        "|---|---|---|---|---|",
    ]
    kept_by = {}
    for camera in arguments.cameras.split(","):
        for place in PLACES:
            true, kept = measure(arguments.program, camera, place, arguments.pictures)
            kept_by.setdefault(camera, {})[place] = min(1.0, kept / true)
            lines.append(
                f"| {camera} | {place} | {true:.2f} | {kept:.2f} | {100 * kept / true:.0f} % |"
            )
            print(lines[-1], flush=True)
    (arguments.out / "chain.json").write_text(json.dumps(kept_by))
    head = f"{datetime.date.today()}, {arguments.pictures} pictures each: `{arguments.command}`\n\n"
    (arguments.out / "chain.md").write_text(head + "\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
