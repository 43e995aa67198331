"""Runs of `endgrade` in which calls fail (fault_shim.cpp), and what must hold of them.

After any run, however it ended: exit code 0 to 3 or the kill that was asked for, messages of one line,
and whatever stands under a final name is whole and right: a record is that of a run without faults or
says that this picture could not be read; a store verifies; an overlay has the same bytes. A second run
without faults completes the first.
"""

import json
import os
import random
import re
import signal
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
from PIL import Image

KINDS = ["malloc", "read", "open", "write", "flush", "rename", "kill"]
TIMEOUT_S = 600  # of the wall: a busy machine is no hang


def draw(folder, count):
    """Small photographs, each another: names that a lot can read, one broken among thirty."""
    folder.mkdir(parents=True)
    y, x = np.mgrid[0:120, 0:160] - np.array([60, 80])[:, None, None]
    for i in range(count):
        random_ = np.random.default_rng(i)
        level = np.full((120, 160), 90.0)
        level[np.hypot(x, y) < 45] = 160
        level[np.hypot(x - random_.uniform(-30, 30), y - random_.uniform(-30, 30)) < i % 5] = 40
        level += random_.normal(0, 1.5, level.shape)
        name = f"cord-{i // 2 + 1:04}-{'AB'[i % 2]}-1"
        picture = Image.fromarray(np.clip(level, 0, 255).astype(np.uint8))
        if i % 30 == 29:
            (folder / f"{name}.png").write_bytes(b"\x89PNG\r\n\x1a\n and no more")
        elif i % 3 == 2:
            picture.save(folder / f"{name}.jpg", quality=90)
        else:
            picture.save(folder / f"{name}.png")


def untimed(record):
    return {key: value for key, value in record.items() if key != "timing_ms"}


def is_unread(record):
    return any(reason["code"] == "unreadable" for reason in record["reasons"])


class Faults:
    """One verb over one folder of photographs, first without faults."""

    def __init__(self, endgrade, shim, photographs, work, verb):
        self.endgrade, self.shim, self.photographs, self.work = endgrade, shim, photographs, work
        self.verb = verb
        self.came_about = 0
        self.problems = []
        done, counts = self.run(work / "reference", "")
        self.code, self.counts = done.returncode, counts
        if self.code not in (0, 1, 2, 3):
            raise SystemExit(f"without faults: {done}")
        self.expected = self.records(work / "reference")
        self.overlays = {path.name: path.read_bytes()
                         for path in (work / "reference").glob("overlays/*")}

    def run(self, out, faults, **more):
        log = self.work / "faults.log"
        log.unlink(missing_ok=True)
        environment = {**os.environ, "LD_PRELOAD": str(self.shim), "ENDGRADE_FAULTS": faults,
                       "ENDGRADE_FAULT_LOG": str(log), **more}
        try:
            done = subprocess.run(
                [self.endgrade, self.verb, "--limits", "sm-upc", "--threads", "2", "--out", out,
                 self.photographs], env=environment, capture_output=True, check=False,
                timeout=TIMEOUT_S)
        except subprocess.TimeoutExpired:
            done = subprocess.CompletedProcess([], "hangs", b"", b"")
        counts = {}
        for line in log.read_text().splitlines() if log.exists() else []:
            word, number, *calls = line.split()
            if calls:
                counts[word] = int(number)
            else:
                self.came_about += 1
        return done, counts

    def records(self, out):
        """By picture, the newest of each; of a lot from its store, after verifying it."""
        if self.verb == "grade":
            file = out / "results.ndjson"
            lines = file.read_text().splitlines() if file.exists() else []
            records = [json.loads(line) for line in lines]
        else:
            store = out / "lot.sqlite"
            if not store.exists():
                return {}
            if store.stat().st_size == 0:  # made, and nothing in it yet
                return {}
            verified = subprocess.run([self.endgrade, "store", "verify", store],
                                      capture_output=True, check=False)
            if verified.returncode != 0:
                self.problems.append(f"store does not verify: {verified.stderr.decode()}")
                return {}
            export = subprocess.run([self.endgrade, "store", "export", "--format", "ndjson", store],
                                    capture_output=True, check=True)
            records = [json.loads(line)["record"] for line in export.stdout.splitlines()]
        return {record["image"]["path"]: untimed(record) for record in records}

    def check(self, out, told, complete):
        records = self.records(out)
        for path, record in records.items():
            if record != self.expected.get(path) and (complete or not is_unread(record)):
                self.problems.append(f"{told}: {path} is not as without faults: "
                                     f"{json.dumps(record)[:300]}")
        if complete and records.keys() != self.expected.keys():
            self.problems.append(f"{told}: {len(records)} of {len(self.expected)} records")
        if self.verb == "grade" and records and len(records) != len(self.expected):
            self.problems.append(f"{told}: results.ndjson with {len(records)} records")
        overlays = {path.name: path.read_bytes() for path in out.glob("overlays/*")
                    if not path.name.startswith(".endgrade-")}
        for name, content in overlays.items():
            if content != self.overlays.get(name):
                self.problems.append(f"{told}: overlay {name} is not as without faults")
        if complete and overlays.keys() != self.overlays.keys():
            self.problems.append(f"{told}: {len(overlays)} of {len(self.overlays)} overlays")
        for name, end in (("report.html", b"</html>\n"), ("faces.csv", b"\r\n")):
            file = out / name
            if file.exists() and not file.read_bytes().endswith(end):
                self.problems.append(f"{told}: {name} is cut short")
            if complete and self.verb == "lot" and not file.exists():
                self.problems.append(f"{told}: no {name}")

    def round(self, chooser, how_many, kinds=None):
        """A run with some faults, then one without; what does not hold goes to self.problems."""
        chosen = [chooser.choice([kind for kind in kinds or KINDS if self.counts.get(kind)])
                  for _ in range(how_many)]
        if "kill" in chosen:  # one, and late, or the others do not come about
            chosen = [kind for kind in chosen if kind != "kill"] + ["kill"]
        faults = ",".join(f"{kind}:{chooser.randint(1, self.counts[kind])}" for kind in chosen)
        told = f"ENDGRADE_FAULTS={faults} {self.verb}"
        out = self.work / "out"
        shutil.rmtree(out, ignore_errors=True)
        done, _ = self.run(out, faults)
        killed = done.returncode == -signal.SIGKILL
        if done.returncode not in (0, 1, 2, 3) and not (killed and "kill" in chosen):
            self.problems.append(f"{told}: exit code {done.returncode}: {done.stderr[-500:]}")
        if re.search(rb"[^\n\x20-\x7e\x80-\xff]", done.stderr):
            self.problems.append(f"{told}: control characters on stderr")
        if not killed and list(out.rglob(".endgrade-*")):
            self.problems.append(f"{told}: leaves a temporary file behind")
        self.check(out, told, complete=False)
        again, _ = self.run(out, "")
        if again.returncode != self.code:
            self.problems.append(f"{told}: the second run ends with {again.returncode}: "
                                 f"{again.stderr[-500:]}")
        self.check(out, told + ", then once more", complete=True)


def main():
    """faults.py ENDGRADE SHIM WORK PICTURES INJECTIONS [SEED]: the bench; see bench-faults.sh."""
    endgrade, shim, work = (Path(argument).resolve() for argument in sys.argv[1:4])
    pictures, injections = int(sys.argv[4]), int(sys.argv[5])
    seed = int(sys.argv[6]) if len(sys.argv) > 6 else 990001
    shutil.rmtree(work, ignore_errors=True)
    draw(work / "photographs", pictures)
    num_problems = came_about = rounds = 0
    runs = []
    for verb in ("grade", "lot"):
        (work / verb).mkdir()
        runs.append(Faults(endgrade, shim, work / "photographs", work / verb, verb))
        print(f"{verb}: {runs[-1].counts}", flush=True)
    while came_about < injections:
        verb = runs[rounds % 2]
        verb.problems = []
        # A kill ends a run before most of its other faults come about: only every third has one.
        kinds = KINDS if rounds % 3 == 0 else [kind for kind in KINDS if kind != "kill"]
        verb.round(random.Random(seed + rounds), 12, kinds)
        rounds += 1
        came_about = sum(one.came_about for one in runs)
        num_problems += len(verb.problems)
        for problem in verb.problems:
            print(problem, flush=True)
        if rounds % 10 == 0:
            print(f"{came_about} faults in {rounds} runs, {num_problems} problems", flush=True)
    print(f"{came_about} faults came about in {rounds} runs of {pictures} pictures, each followed by "
          f"one without: {num_problems} problems")
    return 0 if num_problems == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
