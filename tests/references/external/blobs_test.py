"""Small specks found by the engine, by SEP and by scikit-image's blob_log on the same pixels.

All see the same glass (a ring of the cladding between core and rim) and are held to the same
false alarms: SEP and blob_log get the lowest threshold that finds no more on clean faces there than
the engine does. Run by hand for the table; `CLEAN` faces and `SPECKLED` ones of `SPECKS` each.
"""

import tempfile
import unittest

import numpy as np
import sep
from skimage import feature

import plain_faces

CLEAN, SPECKLED, SPECKS = 10, 10, 14
RADIUS_PX, CENTRE, BLUR_PX, NOISE = 210.0, (447.3, 352.8), 1.3, 4.0
UM = 62.5 / RADIUS_PX
RING_UM = (16.0, 52.0)
NEAR_PX = 4.0
DIAMETERS_UM = (1.6, 2.0, 2.5)
BINS = [(3, 5), (5, 6), (6, 8), (8, 10), (10, 12), (12, 30)]


def specks(rng):
    """(x, y, diameter px, contrast, matched signal to noise), apart from each other."""
    found = []
    while len(found) < SPECKS:
        radius = np.sqrt(rng.uniform((RING_UM[0] + 2) ** 2, (RING_UM[1] - 2) ** 2)) / UM
        turn = rng.uniform(0, 2 * np.pi)
        x, y = CENTRE[0] + radius * np.cos(turn), CENTRE[1] + radius * np.sin(turn)
        if all(np.hypot(x - s[0], y - s[1]) > 26 for s in found):
            diameter = rng.choice(DIAMETERS_UM) / UM
            snr = rng.uniform(3.5, 18)
            shape = plain_faces.blurred_disc(diameter, BLUR_PX)
            contrast = -snr * NOISE / (150.0 * np.sqrt((shape**2).sum()))
            found.append((x, y, diameter, contrast, snr))
    return found


CORNER = int(CENTRE[0] - RING_UM[1] / UM) - 12, int(CENTRE[1] - RING_UM[1] / UM) - 12
SIDE = int(2 * RING_UM[1] / UM) + 24


def residual(picture):
    """(darkness in units of the noise, ring mask) of a square around the ring with its top left at
    CORNER. The cladding is flat, so its median is the ground."""
    y, x = np.indices(picture.shape)
    away = np.hypot(x - CENTRE[0], y - CENTRE[1]) * UM
    ring = (away > RING_UM[0]) & (away < RING_UM[1])
    level = np.median(picture[ring])
    noise = picture[ring].std()
    square = slice(CORNER[1], CORNER[1] + SIDE), slice(CORNER[0], CORNER[0] + SIDE)
    return np.where(ring, (level - picture) / noise, 0.0)[square], ring[square]


def by_sep(picture, threshold):
    """Matched to the point spread of a 2 um disc, as its manual advises: thresh in the filter's own
    signal to noise, one pixel above it is enough."""
    height, ring = residual(picture)
    kernel = plain_faces.blurred_disc(2.0 / UM, BLUR_PX)
    # The matched filter needs the noise as a picture; a single value falls back to plain smoothing.
    objects = sep.extract(
        np.ascontiguousarray(height),
        threshold,
        err=np.ones_like(height),
        mask=~ring,
        filter_kernel=kernel,
        filter_type="matched",
        minarea=1,
    )
    return np.column_stack([objects["x"], objects["y"]]) + CORNER


def by_blob_log(picture, threshold):
    height, _ = residual(picture)
    # A Laplacian of Gaussian fits a disc of diameter 2 sqrt(2) sigma.
    sigma = np.hypot(2.0 / UM / (2 * np.sqrt(2)), BLUR_PX)
    found = feature.blob_log(
        height,
        min_sigma=0.8 * sigma,
        max_sigma=1.25 * sigma,
        num_sigma=3,
        threshold=threshold,
        overlap=0.2,
    )
    return found[:, 1::-1] + CORNER if len(found) else np.empty((0, 2))


def by_engine(record):
    features = [f for fibre in record["fibres"] for f in fibre["features"]]
    return np.array([f["centre_px"] for f in features]).reshape(-1, 2)


def in_ring(places):
    away = np.hypot(places[:, 0] - CENTRE[0], places[:, 1] - CENTRE[1]) * UM
    return places[(away > RING_UM[0] + 1) & (away < RING_UM[1] - 1)]


def lowest_threshold(find, pictures, allowed, low, high, steps=7):
    """The threshold between low and high at which about `allowed` are found, from above: bisected."""
    for _ in range(steps):
        middle = 0.5 * (low + high)
        if sum(len(in_ring(find(p, middle))) for p in pictures) > allowed:
            low = middle
        else:
            high = middle
    return high


class Blobs(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        rng = np.random.default_rng(40)
        face = dict(centre=CENTRE, semi_axes=(RADIUS_PX, RADIUS_PX), blur_px=BLUR_PX, noise=NOISE)
        clean = [plain_faces.plain_face(rng, **face) for _ in range(CLEAN)]
        cls.truth = [specks(rng) for _ in range(SPECKLED)]
        speckled = [
            plain_faces.plain_face(rng, specks=[s[:4] for s in t], **face) for t in cls.truth
        ]
        with tempfile.TemporaryDirectory() as folder:
            pictures = {f"clean{i}": p for i, p in enumerate(clean)}
            pictures |= {f"speckled{i}": p for i, p in enumerate(speckled)}
            records = plain_faces.grade(folder, pictures)
        cls.false_alarms = sum(len(in_ring(by_engine(records[f"clean{i}"]))) for i in range(CLEAN))
        cls.sep_threshold = lowest_threshold(by_sep, clean, cls.false_alarms, 2.0, 8.0)
        cls.log_threshold = lowest_threshold(by_blob_log, clean, cls.false_alarms, 0.3, 3.0)
        cls.found = {
            "endgrade": [by_engine(records[f"speckled{i}"]) for i in range(SPECKLED)],
            "SEP": [by_sep(p, cls.sep_threshold) for p in speckled],
            "blob_log": [by_blob_log(p, cls.log_threshold) for p in speckled],
        }

    def rate(self, name, low, high):
        """(found, all) of the true specks with a signal to noise in [low, high)."""
        hits = total = 0
        for truth, found in zip(self.truth, self.found[name]):
            for x, y, _, _, snr in truth:
                if low <= snr < high:
                    total += 1
                    hits += len(found) > 0 and np.hypot(*(found - [x, y]).T).min() < NEAR_PX
        return hits, total

    def test_strong_specks_are_all_found(self):
        hits, total = self.rate("endgrade", 12, 30)
        self.assertGreaterEqual(
            hits, 0.97 * total
        )  # what the engine is to reach, by its own README

    def test_from_a_signal_to_noise_of_eight_no_fewer_are_found_than_by_sep_and_blob_log(self):
        # Below eight only the table compares: SEP's and blob_log's thresholds are the best ones after
        # the fact for these ten faces and this ring, the engine's holds for the whole contact zone.
        ours, total = self.rate("endgrade", 8, 30)
        self.assertGreater(total, 50)
        for name in ("SEP", "blob_log"):
            theirs, _ = self.rate(name, 8, 30)
            self.assertGreaterEqual(ours, theirs, name)

    def test_no_false_alarms_to_speak_of_on_clean_glass(self):
        self.assertLess(self.false_alarms, 0.3 * CLEAN)

    def test_places_agree_with_sep(self):
        gaps = []
        for truth, ours, theirs in zip(self.truth, self.found["endgrade"], self.found["SEP"]):
            for x, y, _, _, snr in truth:
                if snr > 12 and len(ours) and len(theirs):
                    a = ours[np.argmin(np.hypot(*(ours - [x, y]).T))]
                    b = theirs[np.argmin(np.hypot(*(theirs - [x, y]).T))]
                    gaps.append(np.hypot(*(a - b)))
        self.assertGreater(len(gaps), 20)
        self.assertLess(np.median(gaps), 0.5)  # pixels


def print_table():
    Blobs.setUpClass()
    case = Blobs()
    names = list(case.found)
    print(
        f"false alarms on {CLEAN} clean faces: {case.false_alarms}; thresholds: SEP"
        f" {case.sep_threshold:.1f}, blob_log {case.log_threshold:.2f}"
    )
    print("signal to noise  specks  " + "  ".join(f"{n:>8s}" for n in names))
    for low, high in BINS:
        total = case.rate(names[0], low, high)[1]
        cells = "  ".join(
            f"{100 * case.rate(n, low, high)[0] / max(1, total):6.0f} %" for n in names
        )
        print(f"  {low:4d} to {high:2d}       {total:5d}  {cells}")


if __name__ == "__main__":
    import sys

    if "--table" in sys.argv:
        print_table()
    else:
        unittest.main()
