#!/usr/bin/python3
"""Draws a set of pictures with their truth.

  make_set.py --seed 1 --count 200 --out DIR [--first K] [--style NAME]

The same seed and number give the same picture, whatever else is drawn. Writes DIR/0001-<limits>.jpg
and so on, and DIR/truth.json (last, by renaming).
"""

import argparse
import json
import pathlib
import time

import numpy as np

import scene

# Of twenty pictures: nine fail, seven pass, four cannot be graded (one or two without a fibre).
TARGETS = [
    "fail",
    "pass",
    "fail",
    "ungradable",
    "pass",
    "fail",
    "no_fibre",
    "fail",
    "pass",
    "fail",
    "pass",
    "ungradable",
    "fail",
    "pass",
    "fail",
    "fail",
    "pass",
    "ungradable",
    "fail",
    "pass",
]


def one(seed, index, style=None):
    rng = np.random.default_rng([seed, index])
    limits = str(rng.choice(scene.LIMITS, p=scene.LIMITS_SHARE))
    target = TARGETS[index % len(TARGETS)]
    if target == "ungradable" and rng.random() < 0.12:
        target = "no_fibre"
    if target == "no_fibre":
        return scene.picture_without_fibre(rng, limits)
    return scene.picture_of_fibre(rng, limits, target, style)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--style")
    parser.add_argument("--out", type=pathlib.Path, required=True)
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    rows, started = [], time.time()
    for index in range(arguments.first, arguments.first + arguments.count):
        extension, content, truth = one(arguments.seed, index, arguments.style)
        name = f"{index + 1:04d}-{truth['limits']}{extension}"
        (arguments.out / name).write_bytes(content)
        rows.append({"file": name, **truth})
    unfinished = arguments.out / "truth.json.part"
    unfinished.write_text("[\n" + ",\n".join(json.dumps(row) for row in rows) + "\n]\n")
    unfinished.rename(arguments.out / "truth.json")
    counts = {}
    for row in rows:
        key = row["verdict"] + (" (borderline)" if row["borderline"] else "")
        counts[key] = counts.get(key, 0) + 1
    print(f"{len(rows)} pictures in {time.time() - started:.0f} s:", counts)


if __name__ == "__main__":
    main()
