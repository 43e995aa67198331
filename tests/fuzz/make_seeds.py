#!/usr/bin/env python3
"""Writes the seeds that scripts/fuzz.sh starts from: small rendered photographs in every kind of file
that is read, and one of each text and store. Drawn and not committed: a megabyte.

Usage: tests/fuzz/make_seeds.py ENDGRADE FOLDER TARGET...
Makes FOLDER/<target>/ for those targets of tests/fuzz/. ENDGRADE is run for text, store and job.
"""

import io
import pathlib
import random
import struct
import subprocess
import sys
import tempfile

import numpy as np
from PIL import Image, PngImagePlugin

SOURCE = pathlib.Path(__file__).resolve().parents[2]
SIDE_PX = 72


def face(channels, bits=8):
    """A small face: ferrule, cladding, core and a mark, with noise."""
    y, x = np.mgrid[0:SIDE_PX, 0:SIDE_PX] - SIDE_PX / 2
    level = np.full((SIDE_PX, SIDE_PX), 90.0)
    level[np.hypot(x, y) < 24] = 160
    level[np.hypot(x, y) < 2] = 220
    level[np.hypot(x - 9, y) < 3] = 40
    level += np.random.default_rng(1).normal(0, 2, level.shape)
    level = np.clip(level, 0, 255)
    if bits == 16:
        return Image.fromarray((level * 256).astype(np.uint16))
    grey = level.astype(np.uint8)
    if channels == 1:
        return Image.fromarray(grey)
    return Image.fromarray(np.dstack([grey, grey // 2 + 60, 255 - grey // 3, grey][:channels]),
                           {3: "RGB", 4: "RGBA"}[channels])


def exif(orientation):
    data = Image.Exif()
    data[0x0112] = orientation
    data[0x9003] = "2026:11:25 10:11:12"
    data[0x010F] = "rendered"
    return data


def encoded(picture, kind, **how):
    out = io.BytesIO()
    picture.save(out, kind, **how)
    return out.getvalue()


def pictures():
    for channels in (1, 3):
        for how in ({}, {"progressive": True}, {"exif": exif(6)}, {"restart_marker_rows": 1}):
            yield encoded(face(channels), "JPEG", quality=80, **how)
    yield encoded(face(3).convert("CMYK"), "JPEG", quality=80)
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Comment", "rendered " * 20, zip=True)
    for picture in (face(1), face(3), face(4), face(1, 16), face(1).convert("1"),
                    face(3).convert("P")):
        yield encoded(picture, "PNG", pnginfo=notes)
    yield encoded(face(1), "PNG", exif=exif(3))
    for picture in (face(1), face(3), face(1, 16), face(4), face(1).convert("1")):
        for packing in (None, "tiff_lzw", "tiff_adobe_deflate", "packbits"):
            yield encoded(picture, "TIFF", **({"compression": packing} if packing else {}))
    for picture in (face(1), face(3), face(4), face(1).convert("1")):
        yield encoded(picture, "BMP")
    yield b"GIF89a" + bytes(20)


def texts(endgrade, work):
    for limits in sorted(SOURCE.glob("zones/**/*.toml")):
        yield b"\0" + limits.read_bytes()
    yield b"\1" + b"""schema = "endgrade.lot/1"
name = "Delivery 12"
photographs = "pictures"
pattern = ["{kind}/{cord}-{end}", "{cord}-{end}[-{attempt}]"]
ends = ["A", "B"]
fibres = 1
decision = "guarded"
[limits]
default = "sm-upc"
apc = "sm-apc"
[kind_of_end]
B = "apc"
[sampling]
lot_size = 1000
level = "II"
aql_percent = 1.0
"""
    learning = work / "learning"
    learning.mkdir()
    subprocess.run([endgrade, "render", "--seed", "41", "--count", "4", "--out", learning],
                   check=True, stdout=subprocess.DEVNULL)
    # A profile if these pictures yield one: the renderer's choice.
    subprocess.run([endgrade, "camera", "learn", "--limits", "sm-upc", "--out", work / "a.toml",
                    learning], check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    if (work / "a.toml").exists():
        yield b"\2" + (work / "a.toml").read_bytes()
    for scene in sorted(SOURCE.glob("images/demo/*/*.toml"))[:4]:
        yield b"\3" + scene.read_bytes()
    for scene in sorted(SOURCE.glob("images/demo/*/*.truth.json"))[:2]:
        yield b"\4" + scene.read_bytes()


def stores(endgrade, work):
    photographs = work / "photographs"
    photographs.mkdir()
    for name in ("cord-0001-A-1.png", "cord-0001-B-1.png"):
        face(1).save(photographs / name)
    subprocess.run([endgrade, "lot", "--limits", "sm-upc", "--out", work / "lot", photographs],
                   check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    yield (work / "lot" / "lot.sqlite").read_bytes()
    demo = sorted(SOURCE.glob("images/demo/sm-upc/*.jpg"))[:2]
    done = subprocess.run([endgrade, "grade", "--json", "--limits", "sm-upc", *demo],
                          check=False, capture_output=True)
    yield from done.stdout.splitlines()


def jobs(endgrade, work):
    """Of one small job: its file, manifest, settings, an overlay in both kinds of file."""
    yield b"\0" + b"""schema = "endgrade.job/1"
name = "Pier hall"
who = "a technician"
camera = "USB 400x"
decision = "simple"
pattern = "{port}-{side}[-{attempt}]"
[limits]
default = "sm-upc"
apc = "sm-apc"
[[panel]]
site = "Pier"
cabinet = "C2"
panel = "P1"
ports = ["01..04", "spare"]
sides = ["A", "B"]
fibres = 2
[[panel]]
panel = "P2"
ports = ["1"]
kind = "apc"
"""
    photographs = work / "faces"
    photographs.mkdir()
    face(1).save(photographs / "01-A-1.png")
    job = work / "job"
    subprocess.run([endgrade, "job", "new", job, "--name", "Pier", "--who", "a technician",
                    "--camera", "USB", "--limits", "sm-upc", "--ports", "01..02"],
                   check=True, stdout=subprocess.DEVNULL)
    subprocess.run([endgrade, "job", "add", job, photographs], check=False,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    yield b"\0" + (job / "job.toml").read_bytes()
    yield b"\1" + (job / "manifest.json").read_bytes()
    yield b'\2{"decision":"guarded","um_per_px":0.25,"camera_sha256":""}'
    for overlay in sorted(job.glob("overlays/**/*.jpg"))[:1]:
        content = overlay.read_bytes()
        yield b"\3" + content[:content.index(b"\xff\xda")]  # what it carries is before the picture
    yield b"\4pictures/../../outside"
    yield b"\4pictures/of/today"


def exif_blocks():
    for orientation in (1, 6, 8):
        yield exif(orientation).tobytes()[6:]
    yield struct.pack(">2sHIHHHIHHI", b"MM", 42, 8, 1, 0x0112, 3, 1, 3, 0, 0)


def scenes():
    """For grade_fuzz: limits, scale, size, how, level, then discs: kind, x, y, level, radius."""
    disc = [1, 127, 127]
    for how in (0, 4, 12, 28, 13):
        yield bytes([0, 0, 120, 100, how, 90, *disc, 160, 60, *disc, 220, 5, 1, 150, 120, 40, 6])
    rng = random.Random(1)
    yield bytes([0, 200, 20, 20, 2, 0]) + bytes(rng.randrange(256) for _ in range(1600))


def main():
    endgrade, folder, targets = sys.argv[1], pathlib.Path(sys.argv[2]), sys.argv[3:]
    with tempfile.TemporaryDirectory() as temporary:
        work = pathlib.Path(temporary)
        sets = {"picture": pictures(), "exif": exif_blocks(), "text": texts(endgrade, work),
                "store": stores(endgrade, work), "job": jobs(endgrade, work), "grade": scenes()}
        for name in targets:
            (folder / name).mkdir(parents=True, exist_ok=True)
            for i, seed in enumerate(sets[name]):
                (folder / name / f"seed-{i:02}").write_bytes(seed)


if __name__ == "__main__":
    main()
