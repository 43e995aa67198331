#!/usr/bin/env python3
"""Changes a job in many ways and asks `endgrade verify` each time: used by scripts/bench-job.sh and
by tests/cli/job_test.py. Usage: flip_job.py ENDGRADE JOB COUNT SEED"""

import collections
import hashlib
import json
import pathlib
import random
import shutil
import sqlite3
import subprocess
import sys


def found(endgrade, job):
    """Whether hashes, chains and signatures alone tell (what grades find comes on top)."""
    done = subprocess.run([endgrade, "verify", "--no-grade", str(job)], capture_output=True,
                          text=True, check=False)
    return done.returncode == 1 and done.stderr != ""


def files_of(job):
    """All files that hold a byte."""
    return sorted(path for path in pathlib.Path(job).rglob("*")
                  if path.is_file() and path.stat().st_size > 0)


def flips(job, count, seed):
    """(path, byte, bit): every file is met in turn, its bytes and bits by chance."""
    chance = random.Random(seed)
    paths = files_of(job)
    for i in range(count):
        path = paths[i % len(paths)]
        yield path, chance.randrange(path.stat().st_size), chance.randrange(8)


def try_flips(endgrade, job, count, seed, tally=None):
    """Flips one bit at a time, puts it back, and gives the flips that were not found."""
    missed = []
    for path, place, bit in flips(job, count, seed):
        original = path.read_bytes()
        changed = bytearray(original)
        changed[place] ^= 1 << bit
        path.write_bytes(changed)
        seen = found(endgrade, job)
        path.write_bytes(original)
        kind = path.relative_to(job).parts[0]
        if tally is not None:
            tally[kind][0 if seen else 1] += 1
        if not seen:
            missed.append(f"{path.relative_to(job)} byte {place} bit {bit}")
    return missed


def write_manifest(job):
    """What somebody who knows the manifest would do after an edit: all hashes anew."""
    job = pathlib.Path(job)
    path = job / "manifest.json"
    manifest = json.loads(path.read_text())
    manifest["files"] = [
        {"path": file.relative_to(job).as_posix(), "size_bytes": file.stat().st_size,
         "sha256": hashlib.sha256(file.read_bytes()).hexdigest()}
        for file in sorted(files_of(job), key=lambda f: f.relative_to(job).as_posix())
        if file.name not in ("manifest.json",)]
    path.write_text(json.dumps(manifest, indent=1, ensure_ascii=False) + "\n")


def unlocked(job):
    """The store without its triggers, as an editor of databases would open it."""
    database = sqlite3.connect(pathlib.Path(job) / "job.sqlite")
    for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type='trigger'").fetchall():
        database.execute(f"DROP TRIGGER {name}")
    return database


def swap_rows(database, table):
    database.execute(f"UPDATE {table} SET seq = -1 WHERE seq = 1")
    database.execute(f"UPDATE {table} SET seq = 1 WHERE seq = 2")
    database.execute(f"UPDATE {table} SET seq = 2 WHERE seq = -1")


EDITS = {
    "a verdict made a pass": lambda d: d.execute(
        "UPDATE photograph SET verdict = 'pass' WHERE verdict = 'fail'"),
    "a record edited": lambda d: d.execute(
        "UPDATE photograph SET record = replace(record, '\"fail\"', '\"pass\"')"),
    "an attempt renumbered": lambda d: d.execute("UPDATE photograph SET attempt = 9 WHERE seq = 1"),
    "rows swapped": lambda d: swap_rows(d, "photograph"),
    "the first row deleted": lambda d: d.execute("DELETE FROM photograph WHERE seq = 1"),
    "the last row deleted": lambda d: d.execute(
        "DELETE FROM photograph WHERE seq = (SELECT max(seq) FROM photograph)"),
    "log entries swapped": lambda d: swap_rows(d, "run"),
    "the last log entry deleted": lambda d: d.execute(
        "DELETE FROM run WHERE seq = (SELECT max(seq) FROM run)"),
    "another name in the log": lambda d: d.execute(
        "UPDATE run SET event = replace(event, '\"who\":\"', '\"who\":\"not ')"),
    "a thumbnail exchanged": lambda d: d.execute("UPDATE photograph SET thumbnail = x'ffd8'"),
}


def try_edits(endgrade, job, scratch):
    """Edits of the store, each with a manifest that matches the files again; gives what was missed."""
    missed = []
    for name, edit in EDITS.items():
        if pathlib.Path(scratch).exists():
            shutil.rmtree(scratch)
        shutil.copytree(job, scratch)
        database = unlocked(scratch)
        before = database.total_changes
        edit(database)
        if database.total_changes == before:
            raise RuntimeError(f"{name}: the edit found nothing to change")
        database.commit()
        database.close()
        write_manifest(scratch)
        if not found(endgrade, scratch):
            missed.append(name)
    photograph = next(path for path in files_of(scratch) if "photographs" in path.parts)
    shutil.rmtree(scratch)
    for name, change in {
        "a photograph exchanged": lambda p: p.write_bytes(p.read_bytes() + b"\0"),
        "a photograph deleted": lambda p: p.unlink(),
    }.items():
        shutil.copytree(job, scratch)
        change(pathlib.Path(scratch) / photograph.relative_to(scratch))
        write_manifest(scratch)
        if not found(endgrade, scratch):
            missed.append(name)
        shutil.rmtree(scratch)
    return missed


def main():
    endgrade, job, count, seed = sys.argv[1], pathlib.Path(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
    if found(endgrade, job):
        sys.exit(f"{job}: does not verify before anything was changed")
    tally = collections.defaultdict(lambda: [0, 0])
    missed = try_flips(endgrade, job, count, int(seed), tally)
    print("| part of the job | flips | found |\n|---|---|---|")
    for kind, (seen, unseen) in sorted(tally.items()):
        print(f"| `{kind}` | {seen + unseen} | {seen} |")
    print(f"| all | {count} | {count - len(missed)} |\n")
    for place in missed:
        print(f"- missed: {place}")
    edits = try_edits(endgrade, job, job.parent / "edited")
    print(f"Edits of store and photographs, each with a manifest made to match: {len(EDITS) + 2} "
          f"tried, {len(EDITS) + 2 - len(edits)} found.")
    for name in edits:
        print(f"- missed: {name}")
    sys.exit(1 if missed or edits else 0)


if __name__ == "__main__":
    main()
