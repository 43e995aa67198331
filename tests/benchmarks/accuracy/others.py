"""General-purpose and published detectors, each as prepare(ground) and at(state, threshold).

`at` gives the detections at a threshold, each an array of cells (row, column). Every method looks for
dark and bright alike. Sizes and windows suit the features sought (discs of 0.6 to 5 um, lines of 0.4
to 4 um) and follow each tool's own manual; the threshold alone is swept, by side_by_side.py.
"""

import math
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import sep
from scipy import ndimage, spatial
from skimage import feature, filters

sys.path.insert(0, str(pathlib.Path(__file__).parents[2] / "support/published_detectors"))
import local_range  # noqa: E402
import oriented_lines  # noqa: E402

SIZES_UM = (1.2, 2.5, 5.0)


def labelled(above):
    labels, _ = ndimage.label(above, np.ones((3, 3)))
    return [
        np.argwhere(labels[box] == i + 1) + [box[0].start, box[1].start]
        for i, box in enumerate(ndimage.find_objects(labels))
    ]


def disc_sigma(ground, size_um):
    """Of the Gaussian with the blurred disc's variance, cells."""
    return math.hypot(ground.blur_cells, size_um / 4 / ground.um_per_cell)


def strongest_of(objects, apart):
    """Of (height, row, column) those with no higher one within `apart` cells: sizes share places."""
    order = np.argsort(-objects[:, 0])
    objects = objects[order]
    kept = np.ones(len(objects), bool)
    if len(objects) > 1:
        for i, j in spatial.cKDTree(objects[:, 1:]).query_pairs(apart):
            kept[max(i, j)] = False
    return objects[kept]


class Sep:
    """sep.extract with its matched filter, one run a size and sign; each object's peak in the
    filtered picture is kept and held against the threshold."""

    name, low, high = "SEP, matched filter", 2.8, 80.0
    floor = 2.8

    @classmethod
    def prepare(cls, ground):
        found = []
        sep.set_extract_pixstack(500000)
        for size in SIZES_UM:
            sigma = disc_sigma(ground, size)
            n = int(2 * math.ceil(2.5 * sigma) + 1)
            axis = np.arange(n) - n // 2
            kernel = np.exp(-(axis[:, None] ** 2 + axis**2) / (2 * sigma**2))
            for sign in (1.0, -1.0):
                objects = sep.extract(
                    np.ascontiguousarray(sign * ground.values),
                    cls.floor,
                    err=np.ones_like(ground.values),
                    mask=~ground.inside,
                    filter_kernel=kernel,
                    filter_type="matched",
                    minarea=1,
                )
                found += list(zip(objects["cpeak"], objects["ycpeak"], objects["xcpeak"]))
        return strongest_of(np.array(found, float).reshape(-1, 3), 2.0 / ground.um_per_cell)

    @staticmethod
    def at(objects, threshold):
        return [o[None, 1:] for o in objects if o[0] > threshold]


def in_noise(response, inside):
    """A response over its own robust spread on this face."""
    middle = np.median(response[inside])
    return (response - middle) / (1.4826 * np.median(np.abs(response[inside] - middle)) + 1e-12)


class BlobLog:
    """skimage.feature.blob_log; each blob's height is kept and held against the threshold."""

    name, low, high = "scikit-image blob_log", 0.9, 30.0
    floor = 0.9  # lower ones are noise by the thousand, and its pruning compares all pairs

    @classmethod
    def prepare(cls, ground):
        sigmas = [disc_sigma(ground, s) for s in (SIZES_UM[0], SIZES_UM[-1])]
        blobs = []
        for sign in (1.0, -1.0):
            values = np.where(ground.inside, sign * ground.values, 0.0)
            found = feature.blob_log(
                values, min_sigma=sigmas[0], max_sigma=sigmas[1], num_sigma=4, log_scale=True,
                threshold=cls.floor, overlap=0.5, exclude_border=False,
            )  # fmt: skip
            cubes = {
                s: -ndimage.gaussian_laplace(values, s) * s * s for s in np.unique(found[:, 2])
            }
            blobs += [(cubes[s][int(y), int(x)], y, x) for y, x, s in found]
        return np.array(blobs).reshape(-1, 3)

    @staticmethod
    def at(blobs, threshold):
        return [b[None, 1:] for b in blobs if b[0] > threshold]


class DoG:
    """SciPy: differences of Gaussians at three scales, largest over its spread, and label."""

    name, low, high = "SciPy difference of Gaussians, label", 3.0, 30.0

    @staticmethod
    def prepare(ground):
        most = np.zeros_like(ground.values)
        values = ground.values
        for size in SIZES_UM:
            sigma = disc_sigma(ground, size)
            band = ndimage.gaussian_filter(values, sigma) - ndimage.gaussian_filter(
                values, 2.5 * sigma
            )
            most = np.maximum(most, np.abs(in_noise(band, ground.inside)))
        return np.where(ground.inside, most, 0.0)

    @staticmethod
    def at(most, threshold):
        return labelled(most > threshold)


class Ridges:
    """A ridge filter of scikit-image at the line widths sought, over its spread, and label."""

    low, high = 2.0, 3000.0

    def __init__(self, name):
        self.filter = getattr(filters, name)
        self.name = f"scikit-image {name} (ridges)"

    def prepare(self, ground):
        widths = [0.8, 1.6, 3.2]
        sigmas = [math.hypot(ground.blur_cells, w / 3.5 / ground.um_per_cell) for w in widths]
        most = np.zeros_like(ground.values)
        for black in (True, False):
            some = self.filter(ground.values, sigmas=sigmas, black_ridges=black)
            most = np.maximum(most, some)
        return np.where(ground.inside, in_noise(most, ground.inside), 0.0)

    @staticmethod
    def at(most, threshold):
        return labelled(most > threshold)


class LocalRange:
    name, low, high = "local maximum less local minimum (Mei et al. 2018)", 1.0, 30.0

    @staticmethod
    def prepare(ground):
        return local_range.response(ground.values), ground.inside

    @staticmethod
    def at(state, threshold):
        return local_range.regions(*state, threshold)


class OrientedLines:
    name, low, high = "oriented line responses (Mei et al. 2018)", 1.0, 30.0

    @staticmethod
    def prepare(ground):
        return oriented_lines.response(ground.values), ground.inside

    @staticmethod
    def at(state, threshold):
        return oriented_lines.scratches(*state, threshold)


METHODS = (
    DoG, Ridges("sato"), BlobLog, OrientedLines, LocalRange, Sep, Ridges("meijering"),
    Ridges("frangi"),
)  # fmt: skip


# ImageJ: one run of its Java program over all pictures and thresholds. With java.awt.headless its run()
# fails (HeadlessException: it builds its menus first), so it gets a screen of its own from Xvfb.
MACRO = """
setBatchMode(true);
lines = split(File.openAsString("{list}"), "\\n");
thresholds = newArray({thresholds});
run("Set Measurements...", "centroid redirect=None decimal=3");
for (i = 0; i < lines.length; i++) {{
  for (sign = -1; sign <= 1; sign += 2) {{
    for (k = 0; k < thresholds.length; k++) {{
      open(lines[i]);
      run("Gaussian Blur...", "sigma={sigma}");
      if (sign > 0) setThreshold(128 + thresholds[k], 1e9); else setThreshold(-1e9, 128 - thresholds[k]);
      setOption("BlackBackground", true);
      run("Convert to Mask");
      run("Analyze Particles...", "size={least}-Infinity pixel clear");
      for (j = 0; j < nResults; j++)
        print(i + " " + thresholds[k] + " " + getResult("X", j) + " " + getResult("Y", j));
      close();
    }}
  }}
}}
"""


def by_imagej(grounds, thresholds):
    """{threshold: [detections of each ground]}; raises with ImageJ's own words if it cannot run."""
    from PIL import Image

    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        names = []
        for i, ground in enumerate(grounds):
            names.append(folder / f"{i}.tif")
            values = np.where(ground.inside, ground.values, 0.0) + 128
            Image.fromarray(values.astype(np.float32)).save(names[-1])
        (folder / "list.txt").write_text("\n".join(map(str, names)))
        macro = folder / "particles.ijm"
        macro.write_text(
            MACRO.format(
                list=folder / "list.txt",
                thresholds=",".join(map(str, thresholds)),
                sigma=1.0,
                least=4,
            )
        )
        done = subprocess.run(
            ["xvfb-run", "-a", "java", "-Xmx1g", "-jar", "/usr/share/java/ij.jar", "-batch",
             str(macro)],
            capture_output=True, text=True, timeout=3600,
        )  # fmt: skip
        found = {t: [[] for _ in grounds] for t in thresholds}
        seen = 0
        for line in done.stdout.splitlines():
            words = line.split()
            if len(words) != 4 or not words[0].isdigit():
                continue
            threshold = min(thresholds, key=lambda t: abs(t - float(words[1])))
            found[threshold][int(words[0])].append(np.array([[float(words[3]), float(words[2])]]))
            seen += 1
        if not seen:
            raise RuntimeError((done.stderr or done.stdout or "no output").strip()[-400:])
        return found
