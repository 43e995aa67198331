"""The engine beside general-purpose and published detectors, on the same renders.

The pictures are the yardstick's (placed.py): clean faces and the same faces with features at chosen
signal-to-noise. Every method sees them inside their true geometry (plain_ground.py), borders left
out; each one's threshold is swept, on glass and ferrule apart, until it finds as many false features
on the clean faces there as the engine does (at least one in all of them). Run through scripts/bench-accuracy.sh --others.
"""

import argparse
import collections
import datetime
import json
import pathlib
import subprocess

import numpy as np

import found
import others
import placed
import plain_ground
import psychometric
import yardstick

KINDS = ("speck", "pit", "scratch", "film")
NEAR_UM = found.NEAR_UM
LOOSE = 10  # the others are also shown at so many times the engine's false alarms


class Set:
    """Clean and placed faces with their grounds and true features."""

    def __init__(self, pairs, records):
        self.clean, self.placed = [], []
        self.clean_records, self.placed_records = [], []
        for clean, with_features in pairs:
            pictures = placed.picture_of(clean), placed.picture_of(with_features)
            both = [records[str(p)] for p in pictures]
            if not all(r["fibres"] for r in both):
                continue
            truths = placed.load(clean), placed.load(with_features)
            self.clean.append(plain_ground.Ground(pictures[0], truths[0]))
            self.placed.append(plain_ground.Ground(pictures[1], truths[1]))
            self.placed[-1].truth = truths[1]
            self.clean[-1].truth = truths[0]
            self.clean_records.append(both[0])
            self.placed_records.append(both[1])


def by_engine(ground, record):
    """Outlines of the found features as positions on the face; those outside what counts left out."""
    detections = []
    for feature in record["fibres"][0]["features"]:
        outline = found.face_um(feature["outline_px"] or [feature["centre_px"]], ground.truth)
        middle = found.face_um([feature["centre_px"]], ground.truth)
        points = np.vstack([outline, middle])
        if ground.inside_at(points).any():
            detections.append(points)
    return detections


def on_face(ground, detections):
    return [ground.um_of(d) for d in detections if ground.counts(d)]


def scored(ground, detections_um):
    """[(kind, d', zone, found)] of the true features that lie where detections count."""
    truth, rows = ground.truth, []
    near = NEAR_UM + truth["blur_fwhm_um"]
    for true, scene_feature in zip(truth["features"], truth["scene"]["features"]):
        line, half = found.middle_line(scene_feature)
        outside = 1 - ground.inside_at(line).mean()
        if true["in_view_fraction"] < 1 or not true["zone"] or outside > 0.3:
            continue
        hit = any(
            np.hypot(*(d[:, None] - line[None]).transpose(2, 0, 1)).min() <= half + near
            for d in detections_um
        )
        rows.append((true["shape"], true["snr"], true["zone"], hit))
    return rows


def threshold_for(count_at, low, high, allowed, steps=12):
    """The lowest threshold with no more than `allowed` false features, by bisection."""
    for _ in range(steps):
        middle = (low * high) ** 0.5
        if count_at(middle) > allowed:
            low = middle
        else:
            high = middle
    return high


GLASS, FERRULE = True, False


def part_of(ground, detections, glass):
    return [d for d in detections if ground.on_glass(d) == glass]


def run_method(method, faces, allowed_each):
    """[(thresholds, false a picture, scored rows)] for each allowed (on glass, on ferrule)."""
    states = [method.prepare(g) for g in faces.clean]

    # Detections that are points with a height each are counted at once.
    points = []
    for ground, state in zip(faces.clean, states):
        if isinstance(state, np.ndarray) and state.ndim == 2 and state.shape[1] == 3:
            um = ground.um_of(state[:, 1:])
            points.append((state[:, 0], ground.inside_at(um), np.hypot(*um.T) < ground.rim_um))

    def count(threshold, glass):
        if len(points) == len(states):
            return sum(int(((h > threshold) & i & (g == glass)).sum()) for h, i, g in points)
        return sum(
            len(part_of(g, on_face(g, method.at(s, threshold)), glass))
            for g, s in zip(faces.clean, states)
        )

    chosen = []
    for allowed in allowed_each:
        chosen.append(
            [
                threshold_for(lambda t, part=part: count(t, part), method.low, method.high, most)
                for part, most in zip((GLASS, FERRULE), allowed)
            ]
        )
    rates = [
        sum(count(t, part) for t, part in zip(pair, (GLASS, FERRULE))) / len(faces.clean)
        for pair in chosen
    ]
    del states
    results = [[] for _ in chosen]
    for ground in faces.placed:
        state = method.prepare(ground)
        for i, pair in enumerate(chosen):
            found_here = []
            for threshold, part in zip(pair, (GLASS, FERRULE)):
                found_here += part_of(ground, on_face(ground, method.at(state, threshold)), part)
            results[i] += scored(ground, found_here)
    words = ["; ".join(f"{t:.2f}" for t in pair) for pair in chosen]
    return list(zip(words, rates, results))


IMAGEJ_STEPS = (1.5, 2, 2.4, 2.8, 3.2, 3.6, 4, 4.5, 5, 6, 8, 12)


def run_imagej(faces, allowed_each):
    class Once:
        """ImageJ is started once for all clean faces and once for all others."""

        name, low, high = "", IMAGEJ_STEPS[0], IMAGEJ_STEPS[-1]

        def __init__(self):
            self.found = {}
            for some in (faces.clean, faces.placed):
                for threshold, detections in others.by_imagej(some, IMAGEJ_STEPS).items():
                    for ground, these in zip(some, detections):
                        self.found[id(ground), threshold] = these

        @staticmethod
        def prepare(ground):
            return ground

        def at(self, ground, threshold):
            step = min((t for t in IMAGEJ_STEPS if t >= threshold - 1e-9), default=IMAGEJ_STEPS[-1])
            return self.found[id(ground), step]

    return run_method(Once(), faces, allowed_each)


def cell(rows, kind):
    """50 % point and the share found from d' 8 to 12 and from 12 on."""
    some = [r for r in rows if r[0] == kind]
    if not some:
        return "-"
    snr, hit = np.array([r[1] for r in some]), np.array([r[3] for r in some])
    half = psychometric.point_at(psychometric.fit(snr, hit), 0.5)
    middle, strong = (snr >= 8) & (snr < 12), snr >= 12
    share = lambda inside: f"{100 * hit[inside].mean():.0f}" if inside.any() else "-"
    return f"{yardstick.number(half)}; {share(middle)}; {share(strong)} %"


def lines_of(name, rows, rate, threshold):
    at = threshold or "its own"
    cells = " | ".join(cell(rows, k) for k in KINDS)
    return f"| {name} | {at} | {rate:.3f} | {cells} |"


def first_of_each(pairs, most):
    by_camera = collections.defaultdict(list)
    for pair in pairs:
        by_camera[pair[0].parent.name].append(pair)
    return [pair for some in by_camera.values() for pair in some[:most]]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--program", default="build/endgrade")
    parser.add_argument("--seed", type=int, default=yardstick.SEED_OF_REPORTS)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--cameras", default=",".join(yardstick.CAMERAS))
    parser.add_argument("--out", type=pathlib.Path, default=pathlib.Path("build/accuracy/curve"))
    parser.add_argument("--command", default="scripts/bench-accuracy.sh --others")
    parser.add_argument("--faces", type=int, default=1000, help="most of each camera to use")
    parser.add_argument("--methods", default="", help="only those whose name holds this")
    arguments = parser.parse_args()
    arguments.out = arguments.out / f"seed-{arguments.seed}"
    pairs = first_of_each(yardstick.draw(arguments), arguments.faces)
    records = found.grade(
        arguments.program, [placed.picture_of(p) for pair in pairs for p in pair]
    )
    faces = Set(pairs, records)
    ours_clean = [by_engine(g, r) for g, r in zip(faces.clean, faces.clean_records)]
    false = [
        sum(len(part_of(g, d, part)) for g, d in zip(faces.clean, ours_clean))
        for part in (GLASS, FERRULE)
    ]
    ours = [
        row for g, r in zip(faces.placed, faces.placed_records) for row in scored(g, by_engine(g, r))
    ]
    lines = [
        "| method | threshold (glass; ferrule) | false features a clean picture | specks: 50 % at d'; found at 8 to 12; at 12 and more | pits | scratches | films |",
        "|---|---|---|---|---|---|---|",
        lines_of("endgrade", ours, sum(false) / len(faces.clean), None),
    ]
    print(*lines, sep="\n", flush=True)
    raw = {"endgrade": ours}
    rates = [[max(f, 1) for f in false], [LOOSE * max(f, 1) for f in false]]
    for method in (m for m in others.METHODS if arguments.methods in m.name):
        for i, (threshold, rate, rows) in enumerate(run_method(method, faces, rates)):
            note = f", {LOOSE} times the false features" if i else ""
            lines.append(lines_of(method.name + note, rows, rate, threshold))
            raw[method.name + note] = rows
        print(lines[-2], lines[-1], sep="\n", flush=True)
    try:
        wanted = arguments.methods in "ImageJ particle analysis"
        for i, (threshold, rate, rows) in enumerate(run_imagej(faces, rates) if wanted else ()):
            note = f", {LOOSE} times the false features" if i else ""
            lines.append(lines_of("ImageJ particle analysis" + note, rows, rate, threshold))
            raw["ImageJ particle analysis" + note] = rows
    except (RuntimeError, OSError, subprocess.SubprocessError) as e:
        lines.append(f"| ImageJ particle analysis | could not run: {e} | | | | | |")
    version = subprocess.run(
        [arguments.program, "--version"], stdout=subprocess.PIPE, text=True, check=True
    ).stdout.strip()
    text = (
        f"{datetime.date.today()}, {version}, {len(faces.clean)} clean faces and as many with "
        f"{len(ours)} features, seeds from {arguments.seed} on: `{arguments.command}`\n\n"
        + "\n".join(lines)
        + "\n"
    )
    (arguments.out / "others.md").write_text(text)
    (arguments.out / "others.json").write_text(
        json.dumps({k: [[a, b, c, bool(d)] for a, b, c, d in v] for k, v in raw.items()})
    )
    print(text)


if __name__ == "__main__":
    main()
