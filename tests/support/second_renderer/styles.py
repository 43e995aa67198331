"""Camera styles: what kind of microscope camera took the picture."""

import numpy as np

# size px; span: cladding diameter in px; um: lens blur (standard deviation); light: channel gains
# red, green, blue; well: electrons at white; read: noise of a dark pixel as a share of white.
BASE = {
    "size": (1280, 960),
    "span": (330, 460),
    "blur_um": (0.30, 0.55),
    "light": (1, 1, 1),
    "mono": False,
    "well": (6000, 14000),
    "read": (0.002, 0.006),
    "gamma": (0.45, 1.0),
    "sharpen": 0.0,
    "sharpen_px": 1.2,
    "quality": (80, 95),
    "png": 0.15,
    "uneven": (0.0, 0.2),
    "offset_um": 18,
    "aspect": 1.0,
    "tilt_deg": 0.0,
    "turn_deg": 180,
    "look": None,
    "core_style": None,
    "enlarge": 1,
    "extras": (),
    "weight": 1.0,
    "sixteen": False,
}


def _style(**changes):
    return {**BASE, **changes}


STYLES = {
    "plain_grey": _style(size=(1280, 1024), quality=(85, 95)),
    "blue_led": _style(light=(0.35, 0.75, 1.25)),
    "amber": _style(size=(1024, 768), span=(260, 340), light=(1.25, 0.9, 0.35)),
    "green": _style(size=(1600, 1200), span=(420, 560), light=(0.3, 1.1, 0.35)),
    "mono": _style(size=(1280, 1024), mono=True, png=0.5),
    "mono_sharp": _style(
        size=(1920, 1080), span=(380, 500), mono=True, sharpen=1.0, gamma=(0.7, 1.0)
    ),
    "sharpened": _style(
        size=(1920, 1080), span=(380, 500), sharpen=1.6, sharpen_px=1.6, extras=("contrast",)
    ),
    "soft_upscaled": _style(size=(640, 480), span=(170, 220), enlarge=2, blur_um=(0.4, 0.6)),
    "vga": _style(size=(640, 480), span=(180, 222), offset_um=6, quality=(75, 92)),
    "fine_5mp": _style(
        size=(2592, 1944), span=(720, 940), quality=(88, 95), blur_um=(0.28, 0.45), png=0.0
    ),
    "low_light": _style(
        size=(1280, 720),
        span=(260, 335),
        well=(1500, 4000),
        read=(0.005, 0.010),
        extras=("dim",),
        offset_um=8,
    ),
    "jpeg_q35": _style(size=(1920, 1080), span=(380, 500), quality=(33, 42), png=0),
    "interlaced": _style(size=(720, 576), span=(190, 260), extras=("interlace",), offset_um=10),
    "glare": _style(size=(1600, 1200), span=(420, 540), uneven=(0.35, 0.7), extras=("glare",)),
    "saturated_core": _style(core_style="lit", extras=("hot_core",)),
    "dark_cladding": _style(look="dark_cladding"),
    "bright_cladding": _style(look="bright_cladding"),
    "near_equal": _style(look="near_equal"),
    "round_mask": _style(size=(1280, 1024), extras=("mask",), offset_um=5),
    "reticle": _style(size=(1024, 768), span=(250, 330), extras=("reticle", "text")),
    "aspect": _style(size=(720, 576), span=(190, 250), aspect=1.05, offset_um=8),
    "tilted": _style(tilt_deg=8.0, offset_um=10),
    "off_centre": _style(size=(1920, 1080), span=(300, 420), offset_um=95),
    "hot_pixels": _style(extras=("hot_pixels",), mono=True),
    "lens_dirt": _style(size=(1600, 1200), span=(420, 540), extras=("lens_dirt",)),
    "square_mono": _style(size=(960, 960), span=(350, 440), mono=True, png=1.0),
    "mono_16_bit": _style(size=(1280, 960), mono=True, png=1.0, sixteen=True),
    "webcam": _style(
        size=(1280, 720),
        span=(260, 335),
        offset_um=8,
        sharpen=0.8,
        sharpen_px=1.0,
        quality=(55, 75),
        extras=("denoise",),
        well=(2500, 5000),
    ),
    "portrait": _style(size=(1080, 1440), span=(380, 500), light=(1.05, 1.0, 0.85)),
    "eight_mp": _style(size=(3264, 2448), span=(700, 1100), quality=(80, 92), png=0, weight=0.4),
    "svga_blue_soft": _style(
        size=(800, 600), span=(205, 275), light=(0.25, 0.5, 1.2), blur_um=(0.5, 0.7), offset_um=8
    ),
    "text_burnt": _style(size=(1280, 960), extras=("text",), light=(0.8, 1.0, 1.15)),
}


def draw_style(rng, name):
    """The style's ranges turned into one camera."""
    style = dict(STYLES[name])
    for key in ("blur_um", "well", "read", "gamma", "uneven"):
        style[key] = float(rng.uniform(*style[key]))
    style["span"] = float(rng.uniform(*style["span"]))
    style["quality"] = int(rng.integers(style["quality"][0], style["quality"][1] + 1))
    style["png"] = bool(rng.random() < style["png"])
    style["name"] = name
    style["exposure"] = float(rng.uniform(0.85, 1.25))
    style["mosaic"] = bool(rng.random() < 0.6)
    style["colour_shift_px"] = float(rng.uniform(0.2, 0.7)) if rng.random() < 0.4 else 0.0
    style["focus_slope"] = float(rng.uniform(0.4, 0.9)) if style["tilt_deg"] else 0.0
    style["turn_rad"] = float(rng.uniform(0, np.pi))
    return style
