"""How near detection comes to what physics allows: the engine's detection curve against d'.

Draws clean faces and the same faces with features at chosen signal-to-noise (placed.py), grades
both, and prints for each kind, zone and camera the d' at which 50 % and 95 % are found, beside the
ideal observer's 50 % point at the false-alarm rate that the engine really has on the clean faces
(observer.py). "Of the stored file": the same ratio with each d' times what the camera's own chain
leaves of it (scripts/bench-accuracy.sh --chain, if that has run). Run through --curve.
"""

import argparse
import collections
import datetime
import json
import math
import pathlib
import subprocess

import numpy as np

import curve_picture
import found
import observer
import placed
import psychometric

SEED_OF_REPORTS = 960001
CAMERAS = ("probe", "wide-probe", "grabber", "bench", "colour-bench", "blue-bench", "phone")
SNR_RANGE = (2.5, 40.0)
STRONG = 12.0
PLAIN = 0.03  # of the surroundings, as stored; common practice, no source: hardly seen below it

Case = collections.namedtuple(
    "Case", "picture camera kind zone snr kept stored found as_kind ideal feature"
)


def draw(arguments):
    """[(clean truth path, placed truth path)] of gradable faces, by camera."""
    pairs = []
    for i, camera in enumerate(arguments.cameras.split(",")):
        seed = arguments.seed + i * arguments.count
        for path in placed.clean_faces(
            arguments.program, arguments.out, camera, seed, arguments.count
        ):
            truth = placed.load(path)
            # Lines that lie on the face and soft shadows of the lens cannot be told from features.
            if truth["gradable"] != "yes":
                continue
            pairs.append(
                (path, placed.speckled_face(arguments.program, arguments.out, path, *SNR_RANGE))
            )
    return pairs


def clean_counts(records, pairs):
    """{camera: [features found on each clean picture]} and the false features themselves."""
    counts, false = collections.defaultdict(list), []
    for path, _ in pairs:
        record = records[str(placed.picture_of(path))]
        if not record["fibres"]:
            continue
        features = record["fibres"][0]["features"]
        counts[path.parent.name].append(len(features))
        false += [(path, f) for f in features]
    return counts, false


def kept_by_camera(path):
    """What each camera's chain leaves of d', on glass and ferrule, if chain_loss.py has measured it."""
    return json.loads(path.read_text()) if path.exists() else {}


def cases_of(records, pairs, false_alarms, kept_by):
    cases = []
    for _, path in pairs:
        truth = placed.load(path)
        record = records[str(placed.picture_of(path))]
        if not record["fibres"]:
            continue
        seen = record["fibres"][0]["features"]
        blur = truth["blur_fwhm_um"] / 2.3548
        on, _ = found.match(record, truth)
        for true, hits in zip(truth["features"], on):
            if true["in_view_fraction"] < 1 or not true["zone"] or true["snr"] <= 0:
                continue
            as_kind = any(seen[i]["kind"] == true["kind"] for i in hits)
            ideal = observer.threshold_of(true, blur, false_alarms)
            ground = "glass" if math.hypot(*true["centre_um"]) < 62.5 else "ferrule"
            imaged = max(-0.999, true["contrast_imaged"])
            stored = abs((1 + imaged) ** (1 / truth["scene"]["camera"]["gamma"]) - 1)
            kept = kept_by.get(path.parent.name, {}).get(ground, math.nan)
            cases.append(
                Case(
                    path, path.parent.name, true["shape"], true["zone"], true["snr"],
                    kept, stored, bool(hits), as_kind, ideal, true,
                )  # fmt: skip
            )
    return cases


def groups_of(cases, counts):
    """[(heading, cases, clean pictures)], each a row."""
    everywhere = [n for camera in counts.values() for n in camera]
    rows = []
    kinds = ("speck", "pit", "film", "scratch")
    for kind in kinds:
        rows.append((kind, [c for c in cases if c.kind == kind], everywhere))
    for kind in ("speck", "scratch"):
        for sign, word in ((-1, "dark"), (1, "bright")):
            some = [c for c in cases if c.kind == kind and c.feature["contrast"] * sign > 0]
            rows.append((f"{kind}, {word}", some, everywhere))
    for kind in ("speck", "scratch"):
        plain = [c for c in cases if c.kind == kind and c.stored >= PLAIN]
        rows.append((f"{kind}, {100 * PLAIN:.0f} % and more in the file", plain, everywhere))
        inner = [c for c in plain if abs(math.hypot(*c.feature["centre_um"]) - 62.5) > 5]
        for name, some in (
            ("on glass", [c for c in inner if math.hypot(*c.feature["centre_um"]) < 62.5]),
            ("on ferrule", [c for c in inner if math.hypot(*c.feature["centre_um"]) > 62.5]),
        ):
            rows.append((f"the same {name}, 5 um off the rim", some, everywhere))
    for kind in ("speck", "scratch"):
        for zone in "ABCD":
            some = [c for c in cases if c.kind == kind and c.zone == zone]
            rows.append((f"{kind}, zone {zone}", some, everywhere))
    for kind in ("speck", "scratch"):
        for camera, clean in counts.items():
            some = [c for c in cases if c.kind == kind and c.camera == camera]
            rows.append((f"{kind}, {camera}", some, clean))
    return rows


def ideal_for(cases, clean, overall):
    """Mean ideal threshold at the rate of this row's own clean pictures."""
    rate = rate_of(clean)
    if rate == overall:
        return np.mean([c.ideal for c in cases])
    blur = {}
    for c in cases:
        if c.picture not in blur:
            blur[c.picture] = placed.load(c.picture)["blur_fwhm_um"] / 2.3548
    return np.mean([observer.threshold_of(c.feature, blur[c.picture], rate) for c in cases])


def rate_of(clean):
    """False features a clean picture; where none was seen, half of one in all of them."""
    return max(np.mean(clean), 0.5 / len(clean)) if clean else math.nan


def number(value):
    return "none" if value is None or not math.isfinite(value) else f"{value:.1f}"


def row_of(heading, cases, clean, overall):
    snr = np.array([c.snr for c in cases])
    hit = np.array([c.found for c in cases])
    fitted = psychometric.fit(snr, hit)
    half = psychometric.point_at(fitted, 0.5)
    most = psychometric.point_at(fitted, 0.95)
    bounds = ""
    if half is not None:
        low, high = psychometric.interval(snr, hit, [str(c.picture) for c in cases], 0.5)
        bounds = f" ({number(low)} to {number(high)})"
    ideal = ideal_for(cases, clean, overall) if cases else math.nan
    kept = np.array([c.kept for c in cases])
    stored = psychometric.point_at(psychometric.fit((snr * kept)[kept > 0], hit[kept > 0]), 0.5)
    strong = snr >= STRONG
    k, n = int(hit[strong].sum()), int(strong.sum())
    low, high = psychometric.wilson(k, n)
    return {
        "what": heading,
        "features": len(cases),
        "false": rate_of(clean),
        "half": half,
        "bounds": bounds,
        "most": most,
        "ideal": ideal,
        "ratio": half / ideal if half else None,
        "stored": stored / ideal if stored else None,
        "strong": f"{100 * k / n:.1f} % of {n} ({100 * low:.0f} to {100 * high:.0f})" if n else "-",
        "fit": fitted,
    }


def table(rows):
    lines = [
        "| what | features | false features a clean picture | 50 % found at d' (95 % interval) | 95 % found at d' | ideal observer's 50 % | ratio | ratio, of the stored file | found at d' >= 12 |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for r in rows:
        lines.append(
            f"| {r['what']} | {r['features']} | {r['false']:.2f} | {number(r['half'])}{r['bounds']} | "
            f"{number(r['most'])} | {number(r['ideal'])} | {number(r['ratio'])} | {number(r['stored'])} | "
            f"{r['strong']} |"
        )
    return "\n".join(lines)


def places_searched(cases, overall):
    """How many independent places the ideal observer looks at on a face, in words."""
    words = []
    for kind in ("speck", "scratch"):
        thresholds = [c.ideal for c in cases if c.kind == kind]
        if thresholds:
            places = np.median([observer.positions(overall, t) for t in thresholds])
            words.append(f"{places:,.0f} for a {kind}")
    return (
        "Independent places (and directions) on the contact zone, from the expected number of peaks "
        f"of the matched filter's output: {', '.join(words)}."
    )


def write_worst(path, cases, false, records):
    """Strong features that were missed, and everything seen on clean faces."""
    lines = ["# Strong features missed", ""]
    missed = sorted((c for c in cases if not c.found and c.snr >= STRONG), key=lambda c: -c.snr)
    for c in missed:
        f = c.feature
        at = ", ".join(f"{v:.0f}" for v in f["centre_px"])
        radius = math.hypot(*f["centre_um"])
        lines.append(
            f"- d' {c.snr:.1f} {c.kind} zone {c.zone}, {f['size_um']:.2f} um"
            + (f" x {f['length_um']:.0f} um" if f["length_um"] else "")
            + f", contrast {f['contrast']:+.3f} (imaged {f['contrast_imaged']:+.3f}), {radius:.1f} um"
            f" from the centre, at ({at}) px: {placed.picture_of(c.picture)}"
        )
    lines += ["", "# Seen on clean faces", ""]
    for path_of, f in sorted(false, key=lambda pair: -(pair[1]["snr"] or 0)):
        scene = placed.load(path_of)["scene"]["camera"]
        own = {k: scene[k] for k in ("lens_dirt", "sensor_dust", "hot_pixels", "moire") if scene[k]}
        at = ", ".join(f"{v:.0f}" for v in f["centre_px"])
        radius = math.hypot(*f["centre_um"])
        lines.append(
            f"- {f['kind']} zone {f['zone']}, size {f['size_um']:.2f} um"
            + (f" x {f['length_um']:.0f}" if f["length_um"] else "")
            + f", contrast {f['contrast']:+.3f}, snr {f['snr']:.1f}, {radius:.1f} um from the centre,"
            f" at ({at}) px: {placed.picture_of(path_of)}" + (f" {own}" if own else "")
        )
    path.write_text("\n".join(lines) + "\n")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--program", default="build/endgrade")
    parser.add_argument("--seed", type=int, default=SEED_OF_REPORTS)
    parser.add_argument("--count", type=int, default=40, help="faces by each camera")
    parser.add_argument("--cameras", default=",".join(CAMERAS))
    parser.add_argument("--out", type=pathlib.Path, default=pathlib.Path("build/accuracy/curve"))
    parser.add_argument("--chain", type=pathlib.Path, default=pathlib.Path("build/accuracy/chain.json"))
    parser.add_argument("--command", default="scripts/bench-accuracy.sh --curve")
    arguments = parser.parse_args()
    arguments.out = arguments.out / f"seed-{arguments.seed}"
    pairs = draw(arguments)
    records = found.grade(
        arguments.program, [placed.picture_of(p) for pair in pairs for p in pair]
    )
    counts, false = clean_counts(records, pairs)
    overall = rate_of([n for camera in counts.values() for n in camera])
    cases = cases_of(records, pairs, overall, kept_by_camera(arguments.chain))
    rows = [row_of(h, some, clean, overall) for h, some, clean in groups_of(cases, counts) if some]
    version = subprocess.run(
        [arguments.program, "--version"], stdout=subprocess.PIPE, text=True, check=True
    ).stdout.strip()
    text = (
        f"{datetime.date.today()}, {version}, seeds {arguments.seed} to "
        f"{arguments.seed + arguments.count * len(arguments.cameras.split(',')) - 1}, "
        f"{arguments.count} faces by each of {arguments.cameras}: "
        f"`{arguments.command}`\n\n{table(rows)}\n\n{places_searched(cases, overall)}\n"
    )
    (arguments.out / "curve.md").write_text(text)
    write_worst(arguments.out / "worst.md", cases, false, records)
    curve_picture.draw(arguments.out / "curve.png", cases, rows)
    (arguments.out / "cases.json").write_text(
        json.dumps([c._replace(picture=str(c.picture))._asdict() for c in cases])
    )
    print(text)
    print(f"written: curve.md, curve.png and worst.md in {arguments.out}")


if __name__ == "__main__":
    main()
