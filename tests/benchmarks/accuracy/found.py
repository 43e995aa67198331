"""Whether a true feature was found: held against the outlines of a record."""

import json
import math
import subprocess

import numpy as np

NEAR_UM = 1.5  # beside the true outline, on top of one width of the blur


def grade(program, pictures, limits="sm-upc"):
    """Records by picture path; pictures are graded one at a time."""
    records = {}
    pictures = [str(p) for p in pictures]
    for at in range(0, len(pictures), 200):
        some = pictures[at : at + 200]
        done = subprocess.run(
            [program, "grade", "--threads", "1", "--limits", limits, "--json", *some],
            stdout=subprocess.PIPE,
            text=True,
            check=False,
        )
        for line in done.stdout.splitlines():
            record = json.loads(line)
            records[record["image"]["path"]] = record
    return records


def middle_line(scene_feature, steps=80):
    """(points along the middle, half width), um on the face, of a scene's feature."""
    x, y = scene_feature["centre_um"]
    if scene_feature["shape"] != "scratch":
        return np.array([[x, y]]), 0.5 * scene_feature["diameter_um"]
    turn = math.radians(scene_feature["angle_deg"])
    along = np.linspace(-0.5, 0.5, steps) * scene_feature["length_um"]
    points = np.column_stack([x + along * math.cos(turn), y + along * math.sin(turn)])
    return points, 0.5 * scene_feature["width_um"]


def face_um(points_px, truth):
    away = np.asarray(points_px, float) - truth["centre_px"]
    return away @ np.asarray(truth["um_from_px"]).T


def encloses(outline, point):
    x, y = outline[:, 0], outline[:, 1]
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    crosses = (y > point[1]) != (y1 > point[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x + (point[1] - y) * (x1 - x) / (y1 - y)
    return np.count_nonzero(crosses & (point[0] < at)) % 2 == 1


def touches(outline_um, line, half_um, near_um):
    """Whether an outline comes within half the true width and `near_um` of a middle line."""
    gaps = np.hypot(*(outline_um[:, None, :] - line[None, :, :]).transpose(2, 0, 1))
    return gaps.min() <= half_um + near_um or any(encloses(outline_um, p) for p in line[::8])


def match(record, truth):
    """For each true feature the list of indices of found ones that lie on it, and those on none."""
    fibres = record["fibres"]
    features = fibres[0]["features"] if fibres else []
    outlines = [face_um(f["outline_px"] or [f["centre_px"]], truth) for f in features]
    near = NEAR_UM + truth["blur_fwhm_um"]
    on = []
    for scene_feature in truth["scene"]["features"]:
        line, half = middle_line(scene_feature)
        on.append([i for i, o in enumerate(outlines) if touches(o, line, half, near)])
    stray = sorted(set(range(len(features))) - {i for some in on for i in some})
    return on, stray
