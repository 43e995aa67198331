"""Sheets of small pictures with labels, for looking at."""

import pathlib

import numpy as np
from PIL import Image, ImageDraw, ImageFont

FONT = "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf"


def sheet(entries, path, columns=5, cell=(380, 300), crop=True):
    """entries: (file, lines of text, truth or None). Crops to the contact zone where known."""
    font = ImageFont.truetype(FONT, 12)
    rows = max(1, -(-len(entries) // columns))
    out = Image.new("RGB", (columns * cell[0], rows * cell[1]), (30, 30, 30))
    draw = ImageDraw.Draw(out)
    for i, (file, lines, truth) in enumerate(entries):
        image = Image.open(file)
        if image.mode.startswith("I"):
            image = Image.fromarray((np.asarray(image) // 257).astype(np.uint8))
        image = image.convert("RGB")
        if crop and truth and truth.get("centre_px") and truth["cladding_diameter_px"] > 100:
            x, y = truth["centre_px"]
            reach = 1.15 * truth["cladding_diameter_px"]
            image = image.crop(
                (
                    max(0, int(x - reach)),
                    max(0, int(y - reach)),
                    min(image.width, int(x + reach)),
                    min(image.height, int(y + reach)),
                )
            )
        room = cell[1] - 15 * len(lines) - 4
        image.thumbnail((cell[0] - 4, room), Image.LANCZOS)
        x0, y0 = (i % columns) * cell[0], (i // columns) * cell[1]
        out.paste(image, (x0 + 2, y0 + 2))
        for k, line in enumerate(lines):
            draw.text((x0 + 3, y0 + room + 3 + 15 * k), line[:70], fill=(235, 235, 235), font=font)
    pathlib.Path(path).parent.mkdir(parents=True, exist_ok=True)
    out.save(path)
