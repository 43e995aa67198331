"""Writes TIFFs of many kinds with tifffile and Pillow, and what they should read as.

For every NAME.tif there is NAME.raw: rows, columns, channels and bytes a sample as four
little-endian 32-bit numbers, then the samples: grey, or blue, green, red.
Usage: write_tiffs.py FOLDER
"""
import io
import sys

import numpy as np
import tifffile
from PIL import Image

folder = sys.argv[1]
rng = np.random.default_rng(11)
HEIGHT, WIDTH = 157, 203


def noise(channels, dtype):
    shape = (HEIGHT, WIDTH) if channels == 1 else (HEIGHT, WIDTH, channels)
    return rng.integers(0, np.iinfo(dtype).max + 1, shape, dtype=dtype)


def expect(name, samples):
    if samples.ndim == 3:
        samples = samples[..., ::-1]
    head = [*samples.shape[:2], 1 if samples.ndim == 2 else samples.shape[2], samples.itemsize]
    with open(f"{folder}/{name}.raw", "wb") as out:
        out.write(np.array(head, "<i4").tobytes())
        out.write(np.ascontiguousarray(samples).tobytes())


def by_tifffile(name, stored, expected, **options):
    tifffile.imwrite(f"{folder}/{name}.tif", stored, **options)
    expect(name, expected)


def by_pillow(name, image, **options):
    image.save(f"{folder}/{name}.tif", **options)
    expect(name, np.array(Image.open(f"{folder}/{name}.tif").convert("RGB" if image.mode not in "L1" else "L")))


def over_black(samples):
    full = np.iinfo(samples.dtype).max
    exact = samples[..., :3].astype(np.uint64) * samples[..., 3:] * 2 + full
    return (exact // (2 * full)).astype(samples.dtype)


def turned(samples, orientation):
    """TIFF 6.0, Orientation: which edges row 0 and column 0 are."""
    turns = {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: np.swapaxes(a, 0, 1),
        6: lambda a: np.rot90(a, -1),
        7: lambda a: np.rot90(np.swapaxes(a, 0, 1), 2),
        8: lambda a: np.rot90(a, 1),
    }
    return np.ascontiguousarray(turns[orientation](samples))


for bits, dtype in ((8, np.uint8), (16, np.uint16)):
    grey, rgb, rgba = noise(1, dtype), noise(3, dtype), noise(4, dtype)
    by_tifffile(f"grey{bits}", grey, grey)
    by_tifffile(f"grey{bits}_big_endian", grey, grey, byteorder=">")
    by_tifffile(f"grey{bits}_strips", grey, grey, rowsperstrip=13)
    by_tifffile(f"grey{bits}_tiles", grey, grey, tile=(64, 32))
    by_tifffile(f"grey{bits}_deflate", grey, grey, compression="zlib", predictor=True)
    by_tifffile(f"grey{bits}_white_is_zero", np.iinfo(dtype).max - grey, grey, photometric="miniswhite")
    by_tifffile(f"grey{bits}_pages", np.stack([grey, np.iinfo(dtype).max - grey]), grey, photometric="minisblack")
    by_tifffile(f"rgb{bits}", rgb, rgb, photometric="rgb")
    by_tifffile(f"rgb{bits}_tiles", rgb, rgb, photometric="rgb", tile=(32, 64))
    by_tifffile(f"rgb{bits}_big_endian", rgb, rgb, photometric="rgb", byteorder=">")
    by_tifffile(f"rgba{bits}_straight", rgba, over_black(rgba), photometric="rgb", extrasamples=["unassalpha"])
    by_tifffile(f"rgba{bits}_multiplied", rgba, rgba[..., :3], photometric="rgb", extrasamples=["assocalpha"])
    by_tifffile(f"rgbx{bits}", rgba, rgba[..., :3], photometric="rgb", extrasamples=["unspecified"])
    for orientation in range(1, 9):
        tag = [(274, "H", 1, orientation, True)]
        by_tifffile(f"grey{bits}_turned{orientation}", grey, turned(grey, orientation), extratags=tag)
        by_tifffile(f"rgb{bits}_turned{orientation}", rgb, turned(rgb, orientation), photometric="rgb", extratags=tag)

planes = noise(3, np.uint8)
by_tifffile("rgb8_planes", np.moveaxis(planes, 2, 0).copy(), planes, photometric="rgb", planarconfig="separate")
grey, rgb = Image.fromarray(noise(1, np.uint8)), Image.fromarray(noise(3, np.uint8))
by_pillow("grey8_lzw", grey, compression="tiff_lzw")
by_pillow("rgb8_packbits", rgb, compression="packbits")
by_pillow("palette8", rgb.quantize(200))
by_pillow("bits1", grey.convert("1"))

# Kinds that are refused: no .raw beside them.
refused = {
    "float32": dict(data=noise(1, np.uint8).astype(np.float32) / 255),
    "signed16": dict(data=noise(1, np.uint16).view(np.int16)),
    "bits32": dict(data=noise(1, np.uint16).astype(np.uint32)),
    "planes16": dict(data=np.moveaxis(noise(3, np.uint16), 2, 0).copy(), photometric="rgb", planarconfig="separate"),
    "grey_alpha": dict(data=noise(2, np.uint8), photometric="minisblack", extrasamples=["unassalpha"]),
    "cmyk": dict(data=noise(4, np.uint8), photometric="separated"),
    "big": dict(data=noise(1, np.uint8), bigtiff=True),
    "reduced": dict(data=noise(1, np.uint8), subfiletype=1),
}
for name, options in refused.items():
    tifffile.imwrite(f"{folder}/refused_{name}.tif", **options)
rgb.save(f"{folder}/refused_jpeg.tif", compression="jpeg")
grey.convert("1").save(f"{folder}/refused_fax.tif", compression="group4")
