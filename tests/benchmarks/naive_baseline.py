#!/usr/bin/python3
"""What an afternoon's script does: blur, Hough circle, adaptive threshold, contours.

  naive_baseline.py grade --limits ID --json FILE...

Prints records with the keys of endgrade.result/1 that a score needs. A yardstick for the engine,
not a part of it. Needs python3-opencv (Debian). The limits are those of edition 2 (2015) as in
tests/support/second_renderer/limits.py.
"""

import argparse
import json
import pathlib
import sys
import time

import cv2
import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "support" / "second_renderer"))
import limits as tables  # noqa: E402

CLADDING_UM = 125.0
WORKING_WIDTH_PX = 800


def find_circle(grey):
    """(x, y, radius) in pixels of the strongest circle of a plausible size; None if none."""
    shrink = min(1.0, WORKING_WIDTH_PX / grey.shape[1])
    small = cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    small = cv2.medianBlur(small, 5)
    height = small.shape[0]
    circles = cv2.HoughCircles(
        small,
        cv2.HOUGH_GRADIENT,
        1.5,
        height / 2,
        param1=80,
        param2=40,
        minRadius=height // 12,
        maxRadius=height // 2,
    )
    return None if circles is None else tuple(float(v) / shrink for v in np.ravel(circles)[:3])


def find_marks(grey, circle):
    """Contours of an adaptive threshold inside the contact zone, as features."""
    x, y, radius = circle
    um = CLADDING_UM / (2 * radius)
    blurred = cv2.GaussianBlur(grey, (0, 0), max(0.8, 0.4 / um))
    window = int(25 / um) | 1
    dark = cv2.adaptiveThreshold(
        blurred, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, max(3, window), 12
    )
    bright = cv2.adaptiveThreshold(
        blurred, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, max(3, window), -12
    )
    both = cv2.bitwise_or(dark, bright)
    at = int(round(x)), int(round(y))
    cv2.circle(both, at, int(radius), 0, int(8 / um))  # the rim is no defect
    cv2.circle(both, at, int(6 / um), 0, -1)  # nor is the core
    contours, _ = cv2.findContours(both, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    features = []
    for contour in contours:
        centre, reach = cv2.minEnclosingCircle(contour)
        away = np.hypot(contour[:, 0, 0] - x, contour[:, 0, 1] - y) * um
        if reach * um < 1.0 or away.min() > 125:
            continue  # a dot of noise, or outside
        (_, _), sides, _ = cv2.minAreaRect(contour)
        width, length = min(sides) + 1, max(sides) + 1
        line = length > 4 * width and length * um > 8
        features.append(
            {
                "kind": "scratch" if line else "defect",
                "size_um": (width if line else 2 * reach + 1) * um,
                "zone": None,
                "r_min_um": float(away.min()),
                "centre_px": list(centre),
            }
        )
    return features


def grade(path, limits):
    started = time.perf_counter()
    record = {"image": {"path": str(path)}, "verdict": "ungradable", "fibres": [], "reasons": []}
    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    circle = None if grey is None else find_circle(grey)
    if circle:
        features = find_marks(grey, circle)
        for feature in features:
            feature["zone"] = tables.zone_of(limits, feature["r_min_um"])
        broken = tables.broken(limits, features)
        record["verdict"] = "fail" if broken else "pass"
        record["reasons"] = [{"code": "rule", "text": text} for text in broken]
        record["fibres"] = [
            {
                "centre_px": list(circle[:2]),
                "cladding_semi_axes_px": [circle[2]] * 2,
                "features": features,
                "rules": [],
            }
        ]
    record["timing_ms"] = {"total": 1000 * (time.perf_counter() - started)}
    return record


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("verb", choices=["grade"])
    parser.add_argument("--limits", default="sm-upc", choices=sorted(tables.RULES))
    parser.add_argument("--json", action="store_true", required=True)
    parser.add_argument("files", nargs="+", type=pathlib.Path)
    arguments = parser.parse_args()
    for path in arguments.files:
        print(json.dumps(grade(path, arguments.limits)))


if __name__ == "__main__":
    main()
