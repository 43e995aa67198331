#!/usr/bin/python3
"""Grades a set with known truth and says how well that went.

  score.py --set DIR [--endgrade build/endgrade] [--baseline] [--out DIR]

--baseline grades the same pictures by tests/benchmarks/naive_baseline.py beside it.
--out writes score.json, and contact sheets of the pictures whose verdict is wrong.
"""

import argparse
import json
import pathlib
import shlex
from collections import Counter

import numpy as np

import scoring
from contact_sheet import sheet

HERE = pathlib.Path(__file__).resolve().parent
BASELINE = [
    "/usr/bin/python3",
    "-B",
    str(HERE.parents[1] / "benchmarks" / "naive_baseline.py"),
    "grade",
]


def share(part, whole):
    return f"{part}/{whole} ({100 * part / whole:.1f} %)" if whole else "0/0"


def print_verdicts(result):
    print(f"verdict right, not borderline: {share(result['right'], result['n'])}")
    kinds = Counter(kind for kind, _, _ in result["wrong"])
    for kind in sorted(kinds, key=lambda k: (k != "false pass", k)):
        print(f"  {kind}: {kinds[kind]}")
        for k, row, record in result["wrong"]:
            if k == kind:
                print(
                    f"    {row['file']} {row.get('style')} {row.get('scenario', '')}: truth: {row['why']}"
                    f"\n        said: {said(record)}"
                )
    borderline = Counter(kind for kind, _, _ in result["wrong_borderline"])
    print("  of the borderline ones:", dict(borderline) or "all as the truth")


def said(record):
    if not record:
        return "nothing"
    broken = [r for fibre in record["fibres"] for r in fibre.get("rules", []) if not r["met"]]
    if broken:
        return "; ".join(f"{r['zone']} {r['kind']}: {r['found']} ({r['text']})" for r in broken)[
            :160
        ]
    return "; ".join(r["text"] for r in record.get("reasons", []))[:160] or record["verdict"]


def print_geometry(result):
    off = np.array([v for v, _ in result["centre_um"]])
    diameter = np.array([v for v, _ in result["diameter_percent"]])
    print(
        f"fibre: missed {len(result['missed_fibre'])} of {len(off) + len(result['missed_fibre'])} gradable"
        f" {result['missed_fibre'][:8]}; made up {len(result['no_fibre_found'])} {result['no_fibre_found'][:8]}"
    )
    if len(off):
        print(
            f"centre off: median {np.median(off):.2f}, 95 % {np.quantile(off, .95):.2f} um, within 0.3 um:"
            f" {share(int((off <= 0.3).sum()), len(off))}"
        )
        print(
            f"cladding diameter off: median {np.median(np.abs(diameter)):.2f} %, 95 %"
            f" {np.quantile(np.abs(diameter), .95):.2f} %, within 0.5 %:"
            f" {share(int((np.abs(diameter) <= 0.5).sum()), len(diameter))}, bias {diameter.mean():+.2f} %"
        )
        worst = sorted(result["centre_um"], reverse=True)[:5]
        print("  worst centres:", ", ".join(f"{f} {v:.1f}" for v, f in worst))
        worst = sorted(result["diameter_percent"], key=lambda w: -abs(w[0]))[:5]
        print("  worst diameters:", ", ".join(f"{f} {v:+.1f} %" for v, f in worst))


def print_features(result):
    names = sorted({name for name, _ in result["seen"]})
    print(
        "found, of the true features in zones A, B, D (clear | faint | hidden); size error, um (median, mean abs):"
    )
    for name in names:
        cells = [
            f"{result['hit'][name, v]}/{result['seen'][name, v]}"
            for v in ("clear", "faint", "hidden")
        ]
        errors = np.array(result["size_error"].get(name, []))
        size = (
            f"{np.median(errors):+.2f} {np.abs(errors).mean():.2f} (n {len(errors)})"
            if len(errors)
            else ""
        )
        print(f"  {name:14s} {cells[0]:>9s} | {cells[1]:>7s} | {cells[2]:>7s}   {size}")
    for v in ("clear", "faint", "hidden"):
        hit = sum(n for (_, w), n in result["hit"].items() if w == v)
        seen = sum(n for (_, w), n in result["seen"].items() if w == v)
        print(f"  all {v}: {share(hit, seen)}")
    of_pass = [n for n, _ in result["false_pass_pictures"]]
    print(
        f"false features on the glass (A, B) per gradable picture {np.mean(result['false'] or [0]):.2f},"
        f" per picture that should pass {np.mean(of_pass or [0]):.2f};"
        f" unlisted ones on the ferrule (C, D) {np.mean(result['false_on_ferrule'] or [0]):.2f}"
    )
    worst = sorted(result["false_pass_pictures"], reverse=True)[:6]
    print("  most:", ", ".join(f"{f} {n}" for n, f in worst if n))


def write(result, folder, out, name):
    entries = [
        (
            folder / row["file"],
            [
                f"{row['file'][:4]} {row['limits']} {row['style']}: {kind}",
                f"truth: {row['why']}",
                f"said: {said(record)}",
            ],
            row,
        )
        for kind, row, record in sorted(result["wrong"], key=lambda w: w[0])
    ]
    for start in range(0, len(entries), 20):
        sheet(
            entries[start : start + 20],
            out / f"wrong-{name}-{start // 20:02d}.png",
            cell=(400, 330),
        )
    wrong = [
        {"file": row["file"], "kind": kind, "truth": row["why"], "said": said(record)}
        for kind, row, record in result["wrong"]
    ]
    (out / f"score-{name}.json").write_text(
        json.dumps({"n": result["n"], "right": result["right"], "wrong": wrong}, indent=1) + "\n"
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--set", type=pathlib.Path, required=True, dest="folder")
    parser.add_argument(
        "--endgrade", default="build/endgrade", help="the command, may hold options"
    )
    parser.add_argument("--baseline", action="store_true")
    parser.add_argument("--limit", type=int, help="only the first pictures")
    parser.add_argument("--out", type=pathlib.Path)
    arguments = parser.parse_args()
    rows = json.loads((arguments.folder / "truth.json").read_text())[: arguments.limit]
    commands = {"endgrade": [*shlex.split(arguments.endgrade), "grade"]}
    if arguments.baseline:
        commands["baseline"] = BASELINE
    for name, command in commands.items():
        records, seconds = scoring.run(command, arguments.folder, rows)
        result = scoring.compare(rows, records)
        print(f"== {name}: {len(rows)} pictures of {arguments.folder}, {len(records)} records")
        print_verdicts(result)
        print_geometry(result)
        print_features(result)
        own = (
            f"{np.mean(result['time_ms']):.0f} ms a picture by its own clock, "
            if result["time_ms"]
            else ""
        )
        print(f"time: {own}{1000 * seconds / max(1, len(rows)):.0f} ms a picture by the wall")
        if arguments.out:
            arguments.out.mkdir(parents=True, exist_ok=True)
            write(result, arguments.folder, arguments.out, name)


if __name__ == "__main__":
    main()
