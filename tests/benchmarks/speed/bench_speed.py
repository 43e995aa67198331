#!/usr/bin/python3
"""Time and memory of the steps and of the whole command, as ratios to the decode floor.

  bench_speed.py --build build [--pairs N] [--quick] [--threads-over N]

Times are processor time (user and system) of one core, medians; the floor is libjpeg-turbo decoding
the same file to colour pixels, measured in the same run, in turn with the steps. Prints a page and
writes it to BUILD/speed/speed.md. --quick: one camera, no series over sizes, counts and threads.
"""

import argparse
import datetime
import json
import os
import pathlib
import platform
import shutil
import statistics
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
import make_pictures  # noqa: E402

HERE = pathlib.Path(__file__).resolve().parent
NAIVE = HERE.parent / "naive_baseline.py"
STEPS = ("floor", "read", "locate", "lay", "flatten", "detect", "measure", "judge", "grade")
LIMITS = make_pictures.LIMITS


def steps_of(build, paths, repetitions):
    """{picture: {step: (cpu ms, peak MB or None)}}: medians over repetitions in mixed order."""
    program = next(build.glob("**/bench_speed_steps"))
    command = [
        str(program),
        "--limits",
        LIMITS,
        *map(str, paths),
        "--benchmark_format=json",
        f"--benchmark_repetitions={repetitions}",
        "--benchmark_min_time=0.05",
        "--benchmark_enable_random_interleaving=true",
    ]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    runs = {}
    for run in json.loads(done.stdout)["benchmarks"]:
        if run["run_type"] == "iteration":
            runs.setdefault(tuple(run["run_name"].split("/")), []).append(run)
    table = {}
    for (picture, step), found in runs.items():
        peaks = [run["peak_mb"] for run in found if "peak_mb" in run]
        table.setdefault(picture, {})[step] = (
            statistics.median(run["cpu_time"] for run in found),
            max(peaks) if peaks else None,
        )
    return {path.stem: table[path.stem] for path in paths}


def run(command):
    """(wall ms, cpu ms, peak MB) of a command that must not fail to start or crash."""
    started = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    wall = 1000 * (time.perf_counter() - started)
    if child.returncode not in (0, 1, 3):  # pass, fail, ungradable
        raise SystemExit(f"{' '.join(command)}: exit code {child.returncode}")
    return wall, 1000 * (used.ru_utime + used.ru_stime), used.ru_maxrss / 1024


def in_turn(commands, rounds):
    """Medians of (wall, cpu, peak) by name, every command once a round."""
    found = {name: [] for name in commands}
    for _ in range(rounds):
        for name, command in commands.items():
            found[name].append(run(command))
    return {
        name: tuple(statistics.median(one[i] for one in runs) for i in range(3))
        for name, runs in found.items()
    }


def naive_ms(path, rounds):
    """The OpenCV script's own clock, decode to verdict, without Python's start; None without it."""
    command = ["/usr/bin/python3", str(NAIVE), "grade", "--limits", LIMITS, "--json"]
    done = subprocess.run(
        command + [str(path)] * rounds, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    if done.returncode != 0:
        return None
    times = [json.loads(line)["timing_ms"]["total"] for line in done.stdout.splitlines()]
    return statistics.median(times)


def whole_commands(endgrade, path, out):
    grade = [str(endgrade), "grade", "--limits", LIMITS, "--threads", "1"]
    return {
        "record": grade + ["--json", str(path)],
        "png": grade + ["--out", str(out / "png"), str(path)],
        "jpg": grade + ["--out", str(out / "jpg"), "--overlay", "jpg", str(path)],
    }


def ratio(value, floor):
    return f"{value:.1f} ms, {value / floor:.1f}x"


def table(head, rows):
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return lines + ["| " + " | ".join(row) + " |" for row in rows]


def step_tables(measured):
    times, peaks = [], []
    for picture, steps in measured.items():
        floor = steps["floor"][0]
        times.append(
            [picture, f"{floor:.2f} ms"]
            + [f"{steps[s][0]:.2f}" for s in STEPS[1:-1]]
            + [ratio(steps["grade"][0], floor)]
        )
        peaks.append(
            [picture] + ["-" if steps[s][1] is None else f"{steps[s][1]:.1f}" for s in STEPS[1:]]
        )
    yield "## Steps in memory: processor time, ms, and as a multiple of the floor"
    yield from table(["picture", *STEPS[:-1], "grade(Frame)"], times)
    yield "\n## Steps: peak memory of their own, MB"
    yield from table(["picture", *STEPS[1:]], peaks)


def whole_table(endgrade, paths, floors, pairs, out):
    rows = []
    for path in paths:
        floor = floors[path.stem]
        done = in_turn(whole_commands(endgrade, path, out), pairs)
        naive = naive_ms(path, pairs)
        rows.append(
            [
                path.stem,
                ratio(done["record"][1], floor),
                ratio(done["png"][1], floor),
                ratio(done["jpg"][1], floor),
                f"{done['record'][2]:.0f} / {done['png'][2]:.0f}",
                "not there" if naive is None else ratio(naive, floor),
            ]
        )
    yield "\n## The whole command, process start and end included: processor time and multiple"
    yield from table(
        ["picture", "record", "and PNG overlay", "and JPEG overlay", "peak MB", "OpenCV script"], rows
    )


def start_up(endgrade, paths, pairs, out):
    small = next(path for path in paths if path.stem == "0.3mp-typical")
    commands = {"--help": [str(endgrade), "--help"]}
    commands["640x480, record"] = whole_commands(endgrade, small, out)["record"]
    done = in_turn(commands, 3 * pairs)
    yield "\n## Start-up, by the wall"
    for name, (wall, cpu, _) in done.items():
        yield f"- {name}: {wall:.1f} ms by the wall, {cpu:.1f} ms of processor"


def two_cores(endgrade, paths, over, out):
    """Wall time of one and of two threads over many copies of the full HD pictures."""
    folder = out / "copies"
    folder.mkdir(parents=True, exist_ok=True)
    sources = [path for path in paths if path.stem in ("2mp-clean", "2mp-typical")]
    for old in folder.iterdir():
        old.unlink()
    for i in range(over):
        # A copy each: the command grades a file once, by whatever name it comes.
        shutil.copyfile(sources[i % len(sources)], folder / f"{i:04d}.jpg")
    grade = [str(endgrade), "grade", "--limits", LIMITS, "--json", str(folder), "--threads"]
    one, two = (min(run(grade + [n])[0] for _ in range(2)) for n in ("1", "2"))
    yield f"\n## Two cores over {over} pictures of 1920x1080"
    yield f"- {one / over:.1f} ms a picture on one, {two / over:.1f} ms on two: {one / two:.2f} times"


def growth(measured):
    for title, prefix in (("pixels", "size-"), ("features", "count-")):
        rows = [
            [name, f"{steps['grade'][0]:.1f} ms", f"{steps['grade'][0] / steps['floor'][0]:.1f}x"]
            for name, steps in measured.items()
            if name.startswith(prefix)
        ]
        yield f"\n## How grade(Frame) grows with {title}"
        yield from table(["picture", "time", "of the floor"], rows)


def machine():
    cpu = platform.processor() or platform.machine()
    for line in pathlib.Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            cpu = line.split(":")[1].strip()
            break
    return f"{cpu}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start"


def page(arguments):
    build = arguments.build
    endgrade = build / "endgrade"
    out = build / "speed"
    load = machine()
    paths = make_pictures.draw(endgrade, out / "pictures")
    main = [p for p in paths if p.stem.split("-")[0] in make_pictures.CAMERAS]
    if arguments.quick:
        paths = main = [p for p in main if p.stem.startswith(("2mp", "0.3mp-typical"))]
    measured = steps_of(build, paths, arguments.pairs)
    floors = {name: steps["floor"][0] for name, steps in measured.items()}
    version = subprocess.run([str(endgrade), "--version"], stdout=subprocess.PIPE, text=True).stdout
    yield "# Speed"
    yield f"{datetime.date.today()}, `{arguments.command}`, {version.strip()}. {load}."
    yield "Faces, cameras and dirt are rendered, seeds 4001 to 4200: see make_pictures.py."
    yield "Other cameras' noise and compression, and a real night's dirt, are not in these figures.\n"
    shown = {n: s for n, s in measured.items() if n.split("-")[0] in make_pictures.CAMERAS}
    yield from step_tables(shown)
    yield from whole_table(endgrade, main, floors, arguments.pairs, out)
    yield from start_up(endgrade, main, arguments.pairs, out)
    if not arguments.quick:
        yield from growth(measured)
        yield from two_cores(endgrade, main, arguments.threads_over, out)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--build", type=pathlib.Path, default=pathlib.Path("build"))
    parser.add_argument("--pairs", type=int, default=7, help="rounds of every command [7]")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--threads-over", type=int, default=200, help="pictures for two cores [200]")
    parser.add_argument("--command", default="bench_speed.py")
    arguments = parser.parse_args()
    lines = []
    for line in page(arguments):
        print(line, flush=True)
        lines.append(line)
    (arguments.build / "speed" / "speed.md").write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
