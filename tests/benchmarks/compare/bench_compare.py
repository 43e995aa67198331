"""How right `endgrade compare` is on rendered pairs whose truth is known.

Rotation and shift are compared in end-face coordinates: each truth's um_from_px with its own
stretch taken out is a pure rotation. A registration is wrong when it is called known and its
rotation is off by more than 2 degrees, or the centre by more than 2 um.

A fate is asked of every true feature with a signal-to-noise of 12 and more in every photograph in
which it exists, that lies whole in view and within the contact zone. It is right when a feature of
the record there has that fate. A feature that grading found in no photograph has no fate: it is
counted apart, because that is the search's miss and not the comparison's.
"""

import argparse
import json
import math
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

LEAST_SNR = 12.0
WRONG_DEG = 2.0
WRONG_UM = 2.0
REACH_UM = 3.0       # from a true outline's circle to the record's feature
CONTACT_UM = 125.0


def run(command):
    return subprocess.run(command, check=False, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def stem(folder, seed, when):
    return folder / f"render-{seed:06d}-{when}"


def picture(folder, seed, when):
    for ending in (".jpg", ".png"):
        path = Path(str(stem(folder, seed, when)) + ending)
        if path.exists():
            return path
    raise FileNotFoundError(stem(folder, seed, when))


def truth(folder, seed, when):
    return json.loads(Path(str(stem(folder, seed, when)) + ".truth.json").read_text())


def turn(um_from_px):
    """The rotation from the face's own axes to the picture's, its stretch taken out."""
    m = np.linalg.inv(np.array(um_from_px))
    u, _, vt = np.linalg.svd(m)
    return u @ vt


def true_rotation(a, b):
    r = turn(b["um_from_px"]) @ turn(a["um_from_px"]).T
    return math.degrees(math.atan2(r[1, 0], r[0, 0]))


def shift_um(pair, a, b):
    m = np.array(pair["after_px_from_before_px"])
    p = m[:, :2] @ np.array(a["centre_px"]) + m[:, 2]
    return float(np.hypot(*(p - np.array(b["centre_px"])))) * b["um_per_px"]


def common_marks(pairs, a, b):
    """True features that stay and could be found in both."""
    count = 0
    for fate in pairs["fates"]:
        if fate["fate"] != "still_there":
            continue
        one, two = a["features"][fate["before"] - 1], b["features"][fate["after"] - 1]
        if min(one["snr"], two["snr"]) >= LEAST_SNR:
            count += 1
    return count


def near(feature, record, scale):
    """Whether a feature of a record lies on a true feature: its circle touches the true one, and a
    point of its outline lies inside the true circle grown by a little."""
    c = np.array(feature["centre_px"])
    reach = (feature["diameter_enclosing_um"] / 2 + REACH_UM) / scale
    outline = np.array(record["outline_px"] or [record["centre_px"]])
    if feature["width_um"] is None:
        return bool((np.hypot(*(outline - c).T) <= reach).mean() > 0.5)
    # A line: near its circle, and not much wider than it is.
    return bool((np.hypot(*(outline - c).T) <= reach).mean() > 0.5)


def on_line(feature, scene_feature, record, to_face):
    """Points of a record's outline in the face's own micrometres against a line's middle."""
    angle = math.radians(scene_feature["angle_deg"])
    along = np.array([math.cos(angle), math.sin(angle)])
    across = np.array([-along[1], along[0]])
    points = np.array([to_face(p) for p in (record["outline_px"] or [record["centre_px"]])])
    d = points - np.array(scene_feature["centre_um"])
    t = d @ along
    bend = scene_feature.get("bend_per_um", 0.0)
    off = np.abs(d @ across - 0.5 * bend * t * t)
    wide = scene_feature["width_um"] / 2 + REACH_UM + 0.02 * np.abs(t)
    inside = (np.abs(t) <= scene_feature["length_um"] / 2 + REACH_UM) & (off <= wide)
    return bool(inside.mean() > 0.6)


LINES = {"scratch", "hair", "lint", "crack"}


def matches(data, feature, record):
    scene_feature = data["scene"]["features"][feature["id"] - 1]
    if feature["shape"] in LINES:
        m = np.array(data["um_from_px"])
        centre = np.array(data["centre_px"])
        return on_line(feature, scene_feature, record, lambda p: m @ (np.array(p) - centre))
    return near(feature, record, data["um_per_px"])


def found(data, feature, records):
    return [r["id"] for r in records if matches(data, feature, r)]


def asked(feature):
    reach = math.hypot(*feature["centre_um"]) + feature["diameter_enclosing_um"] / 2
    return (feature["snr"] >= LEAST_SNR and feature["in_view_fraction"] >= 0.999
            and feature["radius_inner_um"] < CONTACT_UM and reach < CONTACT_UM + 40)


def fates_of(pair, key, ids):
    return [f for f in pair["fates"] if f[key] in ids]


def judge_fates(pairs, a, b, grade_a, grade_b, pair, tally, seed):
    for each in pairs["fates"]:
        one = a["features"][each["before"] - 1] if each["before"] else None
        two = b["features"][each["after"] - 1] if each["after"] else None
        if not all(asked(f) for f in (one, two) if f):
            continue
        touching = any(f["touches"] for f in (one, two) if f)
        ids_a = found(a, one, grade_a) if one else []
        ids_b = found(b, two, grade_b) if two else []
        tally["asked"] += 1
        if not ids_a and not ids_b:
            tally["not_found"] += 1
            continue
        said = fates_of(pair, "before", ids_a) + fates_of(pair, "after", ids_b)
        words = [f["fate"] for f in said]
        wanted = each["fate"]
        if wanted == "moved":
            tally["moved"] += 1
            tally["moved_right"] += wanted in words
            tally["moved_as_two"] += wanted not in words and "gone" in words and "new" in words
            if "moved" not in words:
                tally["examples"].append(
                    f"seed {seed}: {one['shape']} {each['before']}/{each['after']} was moved, said "
                    + ", ".join(sorted(set(words))) + (" (touches another)" if touching else ""))
            continue
        tally["found"] += 1
        ok = wanted in words
        if ok:
            tally["right"] += 1
        elif words and all(w == "cannot_tell" for w in words):
            tally["cannot_tell"] += 1
        elif not words:
            tally["no_word"] += 1
        else:
            tally["wrong"] += 1
            tally["examples"].append(
                f"seed {seed}: {(one or two)['shape']} {each['before']}/{each['after']} was {wanted}, said "
                + ", ".join(sorted(set(words))) + (" (touches another)" if touching else "")
                + f" snr {one['snr'] if one else 0:.0f}/{two['snr'] if two else 0:.0f}"
                + (f" known={pair['rotation_known']}"))


def grade(endgrade, limits, path, keep):
    """The features of a picture's record. With `keep` the record stays beside the picture, for a
    change that is known to touch comparing only."""
    kept = path.with_suffix(".record.json")
    if keep and kept.exists():
        text = kept.read_text()
    else:
        text = run([endgrade, "grade", "--limits", limits, "--json", "--threads", "1", str(path)]).stdout
        if keep:
            kept.write_text(text)
    record = json.loads(text)
    return record["fibres"][0]["features"] if record["fibres"] else None


def compare(endgrade, limits, one, two):
    done = run([endgrade, "compare", "--limits", limits, "--json", str(one), str(two)])
    if not done.stdout:
        raise RuntimeError(done.stderr)
    return json.loads(done.stdout)


def one_pair(arguments, folder, seed):
    if not Path(str(folder / f"render-{seed:06d}") + ".pair.json").exists():
        run([arguments.endgrade, "render", "--pair", "--seed", str(seed), "--threads", "1", "--out", str(folder)])
    a, b = truth(folder, seed, "before"), truth(folder, seed, "after")
    limits = a["limits_id"]
    pictures = picture(folder, seed, "before"), picture(folder, seed, "after")
    result = compare(arguments.endgrade, limits, *pictures)
    grades = [grade(arguments.endgrade, limits, p, arguments.keep_records) for p in pictures]
    pairs = json.loads((folder / f"render-{seed:06d}.pair.json").read_text())
    return seed, a, b, pairs, grades, result


def percentile(values, q):
    return float(np.percentile(values, q)) if values else float("nan")


def grain_seen(data):
    """Grain that the camera passes: rms after a blur over what a pixel's noise is, roughly."""
    face, fwhm = data["scene"]["face"], data["blur_fwhm_um"]
    step = face["grain_size_um"]
    return face["grain_rms"] * step / math.hypot(step, fwhm)


def strangers(arguments, folder, seeds):
    known, total, worst = [], 0, []
    with ThreadPoolExecutor(2) as pool:
        def job(seed):
            a, b = truth(folder, seed, "before"), truth(folder, seed + 1, "after")
            return seed, compare(arguments.endgrade, a["limits_id"], picture(folder, seed, "before"),
                                 picture(folder, seed + 1, "after"))["pairs"][0]
        for seed, pair in pool.map(job, seeds[:-1]):
            if not pair["has_fibre"]:
                continue
            total += 1
            worst.append((pair["evidence"]["margin"], seed, pair["evidence"]))
            if pair["rotation_known"]:
                known.append((seed, pair["evidence"]))
    print(f"strangers: {total} pairs of different faces, {len(known)} called registered")
    for seed, evidence in known:
        print("  seed", seed, evidence)
    for each in sorted(worst, reverse=True)[:5]:
        print("  largest margin", each)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--endgrade", required=True)
    parser.add_argument("--seed", type=int, default=980001)
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--folder", default="build/compare")
    parser.add_argument("--strangers", action="store_true")
    parser.add_argument("--keep-records", action="store_true")
    parser.add_argument("--verbose", action="store_true")
    arguments = parser.parse_args()
    folder = Path(arguments.folder)
    folder.mkdir(parents=True, exist_ok=True)
    seeds = list(range(arguments.seed, arguments.seed + arguments.count))
    if arguments.strangers:
        return strangers(arguments, folder, seeds)
    tally = {k: 0 for k in ("asked", "found", "not_found", "right", "wrong", "cannot_tell", "no_word",
                            "moved", "moved_right", "moved_as_two")}
    tally["examples"] = []
    by_known = {True: dict(tally, examples=[]), False: dict(tally, examples=[])}
    turns, shifts, wrong, no_fibre, unknown, fair_turns, fair_shifts = [], [], [], 0, 0, [], []
    fair, fair_known, total = 0, 0, 0
    sources = {}
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # breaks off, and reports what there is
    pool = ThreadPoolExecutor(2)
    try:
        for seed, a, b, pairs, grades, result in pool.map(lambda s: one_pair(arguments, folder, s), seeds):
            pair = result["pairs"][0]
            total += 1
            if not pair["has_fibre"]:
                no_fibre += 1
                continue
            marks = common_marks(pairs, a, b)
            grain = min(grain_seen(a), grain_seen(b))
            is_fair = marks >= 3 or grain >= 0.02
            fair += is_fair
            known = pair["rotation_known"]
            if known:
                rotation = abs(math.remainder(pair["rotation_deg"] - true_rotation(a, b), 360))
                shift = shift_um(pair, a, b)
                turns.append(rotation)
                shifts.append(shift)
                if is_fair:
                    fair_turns.append(rotation)
                    fair_shifts.append(shift)
                    fair_known += 1
                sources[pair["source"]] = sources.get(pair["source"], 0) + 1
                if rotation > WRONG_DEG or shift > WRONG_UM or pair["mirrored"]:
                    wrong.append((seed, rotation, shift, pair["evidence"]))
            else:
                unknown += 1
            if arguments.verbose:
                off = abs(math.remainder(pair["rotation_deg"] - true_rotation(a, b), 360)) if known else -1
                print(seed, a["scene"]["camera"]["name"], b["scene"]["camera"]["name"], "known" if known else "-",
                      pair["source"], f"off {off:.2f}", f"shift {shift_um(pair, a, b):.2f}" if known else "",
                      "marks", marks, f"grain {grain:.3f}", pair["evidence"])
            judge_fates(pairs, a, b, *grades, pair, by_known[known], seed)
    except KeyboardInterrupt:
        print("broken off: what follows is of the pairs so far")
        pool.shutdown(wait=True, cancel_futures=True)

    def within(values, limit):
        return 100 * sum(v <= limit for v in values) / max(1, len(values))
    print(f"pairs {total}, no fibre in one {no_fibre}, rotation unknown {unknown} "
          f"({100 * unknown / max(1, total - no_fibre):.1f} %), by {sources}")
    print(f"rotation error, known: 95 % within {percentile(turns, 95):.3f} deg, "
          f"{within(turns, 0.5):.1f} % within 0.5 deg, largest {max(turns, default=0):.2f}")
    print(f"shift error, known: 95 % within {percentile(shifts, 95):.3f} um, "
          f"{within(shifts, 0.5):.1f} % within 0.5 um, largest {max(shifts, default=0):.2f}")
    both = sum(t <= 0.5 and s <= 0.5 for t, s in zip(fair_turns, fair_shifts))
    print(f"with 3 common marks or visible grain: {fair}; known {fair_known}; both within bounds {both} "
          f"({100 * both / max(1, fair):.1f} %)")
    print(f"wrong registrations called right: {len(wrong)}")
    for each in wrong:
        print("  ", each)
    for known in (True, False):
        t = by_known[known]
        n = max(1, t["found"])
        print(f"fates, rotation {'known' if known else 'unknown'}: features asked {t['asked']}, found in neither "
              f"photograph {t['not_found']}; gone, still there or new: {t['found']}, right {t['right']} "
              f"({100 * t['right'] / n:.1f} %), cannot tell {t['cannot_tell']}, wrong {t['wrong']}, no word "
              f"{t['no_word']}; moved or smeared: {t['moved']}, right {t['moved_right']}, told as gone and new "
              f"{t['moved_as_two']}")
        for line in t["examples"][:60 if arguments.verbose else 12]:
            print("  ", line)
    return 0


if __name__ == "__main__":
    sys.exit(main())
