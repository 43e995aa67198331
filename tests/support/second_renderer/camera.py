"""From light on the face to a file: lens, sensor, the camera's own processing, compression."""

import io

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont
from scipy import ndimage
from scipy.signal import fftconvolve

import fields
from geometry import View, binned

FONT = "/usr/share/fonts/truetype/dejavu/DejaVuSansMono.ttf"


def make_view(rng, style, cladding_um):
    w, h = style["size"]
    um = cladding_um / style["span"]
    # Rows of pixels closer together than columns (or the other way) stretch the picture.
    stretch = np.sqrt(style["aspect"])
    matrix = np.diag([um / stretch, um * stretch])
    if style["tilt_deg"]:
        c, s = np.cos(style["turn_rad"]), np.sin(style["turn_rad"])
        turn = np.array([[c, -s], [s, c]])
        squeeze = np.diag([1 / np.cos(np.radians(style["tilt_deg"])), 1.0])
        matrix = turn @ squeeze @ turn.T @ matrix
    off = rng.uniform(-1, 1, 2) * style["offset_um"] / um
    if "centre" in style:
        return View(w, h, style["centre"], matrix)
    # The contact zone stays in view, whatever the offset.
    room_x, room_y = w / 2 - 128 / um * stretch - 3, h / 2 - 128 / um * stretch - 3
    off = np.clip(off, [-max(room_x, 0), -max(room_y, 0)], [max(room_x, 0), max(room_y, 0)])
    return View(w, h, (w / 2 - 0.5 + off[0], h / 2 - 0.5 + off[1]), matrix)


def illumination(rng, view, style):
    """Brightness of the lamp over the field: tilt, fall-off, lobes of a ring light, glare."""
    shape = (view.height, view.width)
    y, x = np.meshgrid(
        np.linspace(-1, 1, shape[0], dtype=np.float32),
        np.linspace(-1, 1, shape[1], dtype=np.float32),
        indexing="ij",
    )
    turn = rng.uniform(0, 2 * np.pi)
    field = 1 + style["uneven"] * 0.7 * (x * np.cos(turn) + y * np.sin(turn))
    field -= style["uneven"] * rng.uniform(0.1, 0.5) * (x**2 + y**2) / 2
    if "glare" in style["extras"]:
        lobes = int(rng.integers(4, 9))
        field += 0.08 * np.cos(lobes * np.arctan2(y, x) + turn) * np.hypot(x, y).clip(0, 1)
        gx, gy = rng.uniform(-0.9, 0.9, 2)
        width = rng.uniform(0.25, 0.6)
        field += rng.uniform(0.15, 0.45) * np.exp(-((x - gx) ** 2 + (y - gy) ** 2) / width**2)
    if "lens_dirt" in style["extras"]:
        for _ in range(int(rng.integers(2, 7))):
            cx, cy, r = rng.uniform(-1, 1), rng.uniform(-1, 1), rng.uniform(0.06, 0.25)
            disc = np.clip(
                (r - np.hypot(x * shape[1] / shape[0] - cx, y - cy)) / (0.55 * r) + 0.5, 0, 1
            )
            field *= 1 - rng.uniform(0.02, 0.07) * disc * disc * (3 - 2 * disc)
    return np.maximum(field, 0.05)


def _disc(radius_px):
    n = int(np.ceil(radius_px + 1))
    y, x = np.mgrid[-n : n + 1, -n : n + 1]
    kernel = np.clip(radius_px + 0.5 - np.hypot(x, y), 0, 1)
    return kernel / kernel.sum()


def through_lens(light, um_per_px, style):
    """Diffraction and aberration as two Gaussians, defocus as a disc, shake as a line."""
    sigma = style["blur_um"] / um_per_px
    image = 0.85 * ndimage.gaussian_filter(light, sigma) + 0.15 * ndimage.gaussian_filter(
        light, 2.6 * sigma
    )
    if style.get("defocus_um"):
        pad = int(style["defocus_um"] / um_per_px) + 3
        padded = np.pad(image, pad, mode="edge")
        image = fftconvolve(padded, _disc(style["defocus_um"] / um_per_px), mode="same")[
            pad:-pad, pad:-pad
        ]
    if style.get("shake_um"):
        n = max(3, int(style["shake_um"] / um_per_px))
        kernel = np.zeros((n, n))
        reach = np.linspace(-n / 2 + 0.5, n / 2 - 0.5, 4 * n)
        rows = np.clip(n / 2 + reach * np.sin(style["turn_rad"]), 0, n - 1).astype(int)
        columns = np.clip(n / 2 + reach * np.cos(style["turn_rad"]), 0, n - 1).astype(int)
        np.add.at(kernel, (rows, columns), 1)
        image = (
            ndimage.convolve(image, kernel / kernel.sum(), mode="nearest")
            if n < 12
            else (_fft_convolve(image, kernel / kernel.sum()))
        )
    if style.get("focus_slope"):
        y, x = np.indices(image.shape, dtype=np.float32)
        along = (x - image.shape[1] / 2) * np.cos(style["turn_rad"]) + (
            y - image.shape[0] / 2
        ) * np.sin(style["turn_rad"])
        share = np.clip(np.abs(along) * um_per_px / 150, 0, 1)
        soft = ndimage.gaussian_filter(image, style["focus_slope"] / um_per_px)
        image = image * (1 - share) + soft * share
    return image.astype(np.float32)


def _fft_convolve(image, kernel):
    pad = kernel.shape[0]
    return fftconvolve(np.pad(image, pad, mode="edge"), kernel, mode="same")[pad:-pad, pad:-pad]


def on_sensor(light, lamp, view, style, sub):
    """Linear light on a grid `sub` times as fine -> light on the sensor's pixels."""
    image = through_lens(light, view.um_per_px / sub, style)
    return (binned(image, sub) if sub > 1 else image) * lamp * style["gain"]


def expose(image, style, rng=None):
    """Light on the sensor -> camera values 0 to 1, h x w x (1 or 3).

    Without rng the picture has no noise: the same camera, an endless exposure.
    """
    gains = (1.0,) if style["mono"] else style["light"]
    channels = []
    for k, gain in enumerate(gains):
        channel = np.clip(image * gain, 0, None)
        if style["colour_shift_px"] and k != 1:
            away = style["colour_shift_px"] * (k - 1)
            channel = _nudged(_nudged(channel, away, 1), 0.6 * away, 0)
        if rng is not None:
            electrons = np.minimum(channel, 1.4) * style["well"]
            channel = (
                channel
                + rng.standard_normal(image.shape).astype(np.float32)
                * np.sqrt(electrons)
                / style["well"]
            )
            channel += style["read"] * rng.standard_normal(image.shape).astype(np.float32)
        channels.append(np.clip(channel, 0, 1))
    picture = np.stack(channels, -1)
    if style["mosaic"] and not style["mono"]:
        picture = _mosaic(picture)
    return _process(picture, style)


def _nudged(channel, shift_px, axis):
    """Moved by less than a pixel, by linear interpolation."""
    beside = np.roll(channel, 1 if shift_px > 0 else -1, axis)
    return channel + np.float32(abs(shift_px)) * (beside - channel)


def _mosaic(picture):
    """A colour sensor sees one colour a pixel (RGGB) and guesses the others from its neighbours."""
    seen = np.zeros_like(picture)
    seen[0::2, 0::2, 0], seen[1::2, 1::2, 2] = picture[0::2, 0::2, 0], picture[1::2, 1::2, 2]
    seen[0::2, 1::2, 1], seen[1::2, 0::2, 1] = picture[0::2, 1::2, 1], picture[1::2, 0::2, 1]
    cross = np.array([[0, 1, 0], [1, 4, 1], [0, 1, 0]], np.float32) / 4
    square = np.array([[1, 2, 1], [2, 4, 2], [1, 2, 1]], np.float32) / 4
    kernels = (square, cross, square)
    return np.stack(
        [ndimage.convolve(seen[..., k], kernels[k], mode="mirror") for k in range(3)], -1
    )


def _process(picture, style):
    """Fields of an interlaced camera, enlargement, tone curve, sharpening."""
    if "interlace" in style["extras"]:
        picture = picture.copy()
        picture[1::2] = _nudged(picture[1::2], style["field_shift"], 1) * (1 + style["field_gain"])
    if style["enlarge"] > 1:
        picture = np.stack(
            [
                np.asarray(
                    Image.fromarray(np.ascontiguousarray(picture[..., k])).resize(
                        (picture.shape[1] * style["enlarge"], picture.shape[0] * style["enlarge"]),
                        Image.BICUBIC,
                    )
                )
                for k in range(picture.shape[-1])
            ],
            -1,
        )
    if "denoise" in style["extras"]:
        picture = np.stack(
            [ndimage.median_filter(picture[..., k], 3) for k in range(picture.shape[-1])], -1
        )
    picture = np.clip(picture, 0, 1) ** style["gamma"]
    if "contrast" in style["extras"]:
        picture = np.clip((picture - 0.5) * 1.35 + 0.5, 0, 1)
    if style["sharpen"]:
        soft = ndimage.gaussian_filter(picture, (style["sharpen_px"], style["sharpen_px"], 0))
        picture = picture + style["sharpen"] * (picture - soft)
    return np.clip(picture, 0, 1).astype(np.float32)


def choose_gain(face, style):
    """Exposure that puts the brighter of ferrule and cladding at a usual level."""
    brighter = max(face["ferrule"], face["cladding"]) * max(style["light"])
    target = 0.72 if style["gamma"] > 0.7 else 0.5
    if "dim" in style["extras"]:
        target *= 0.35
    return target * style["exposure"] / brighter


def to_16_bits(picture):
    return Image.fromarray(np.round(picture[..., 0] * 65535).astype(np.uint16))


def to_bytes(picture):
    levels = np.round(picture * 255).astype(np.uint8)
    return Image.fromarray(levels[..., 0] if levels.shape[-1] == 1 else levels)


def overlays(rng, image, view, style):
    """What the camera or its program burns in."""
    if image.mode not in ("L", "RGB"):
        return image
    k = style["enlarge"]
    w, h = image.size
    draw = ImageDraw.Draw(image)
    white = 255 if image.mode == "L" else (235, 235, 235)
    if "mask" in style["extras"]:
        reach = style["mask_px"]
        mask = Image.new("L", (w, h), 0)
        cx, cy = style["mask_centre"]
        ImageDraw.Draw(mask).ellipse((cx - reach, cy - reach, cx + reach, cy + reach), fill=255)
        mask = mask.filter(ImageFilter.GaussianBlur(1.5))
        image.paste(Image.composite(image, Image.new(image.mode, (w, h), 0), mask))
    if "reticle" in style["extras"]:
        cx, cy = w / 2 + rng.uniform(-6, 6), h / 2 + rng.uniform(-6, 6)
        colour = (
            255
            if image.mode == "L"
            else tuple(
                int(c)
                for c in rng.choice([(0, 230, 0), (230, 230, 0), (20, 20, 20), (0, 220, 230)])
            )
        )
        reach = 160 / view.um_per_px * k
        gap = 131 / view.um_per_px * k
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            draw.line((cx + dx * gap, cy + dy * gap, cx + dx * reach, cy + dy * reach), fill=colour)
    if "text" in style["extras"]:
        font = ImageFont.truetype(FONT, int(rng.integers(13, 22)))
        number = int(rng.integers(1, 144))
        draw.text(
            (8, 6), f"PORT {number:03d}  {int(rng.integers(200, 400))}X", fill=white, font=font
        )
        draw.text(
            (8, h - 30),
            f"26-{int(rng.integers(1, 13)):02d}-{int(rng.integers(1, 29)):02d} "
            f"{int(rng.integers(8, 18)):02d}:{int(rng.integers(0, 60)):02d}",
            fill=white,
            font=font,
        )
    if "hot_pixels" in style["extras"]:
        pixels = image.load()
        for _ in range(int(rng.integers(10, 60))):
            at = int(rng.integers(0, w)), int(rng.integers(0, h))
            level = 255 if rng.random() < 0.7 else 0
            pixels[at] = level if image.mode == "L" else (level,) * 3
    return image


def encode(image, style):
    """(file extension, bytes) as the camera would store it."""
    out = io.BytesIO()
    if style["png"]:
        image.save(out, "PNG")
        return ".png", out.getvalue()
    image.save(out, "JPEG", quality=style["quality"], subsampling=2)
    return ".jpg", out.getvalue()


def luma(picture):
    """BT.601 brightness, 0 to 255, of an image or of camera values; the latter unrounded."""
    if isinstance(picture, Image.Image):
        return np.asarray(picture.convert("L"), np.float32)
    if picture.shape[-1] == 1:
        return 255 * picture[..., 0]
    return 255 * (picture @ np.array([0.299, 0.587, 0.114], np.float32))
