#!/usr/bin/env python3
"""Mutated photographs through the command itself: exit codes 0 to 3, no signal, one record for each
picture, none over 5 s of processor time, all in 1 GB of address space.

Usage: tests/fuzz/mutate_and_grade.py ENDGRADE COUNT [SEED]; scripts/fuzz-command.sh has the words.
"""

import json
import random
import resource
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import make_seeds  # noqa: E402

BATCH = 50
MOST_SECONDS = 5
MOST_BYTES = 1 << 30


def mutated(seed, chooser):
    """A few flips, cuts, doublings and swaps, more of them near the start, where headers are."""
    content = bytearray(seed)
    for _ in range(chooser.choice((1, 1, 2, 4, 12))):
        if not content:
            break
        near = min(len(content), chooser.choice((64, 512, len(content))))
        at = chooser.randrange(near)
        how = chooser.randrange(7)
        if how == 0:
            content[at] ^= 1 << chooser.randrange(8)
        elif how == 1:
            content[at] = chooser.choice((0, 1, 0x7F, 0x80, 0xFF))
        elif how == 2:
            del content[at:at + chooser.randrange(1, 64)]
        elif how == 3:
            content[at:at] = content[at:at + chooser.randrange(1, 64)]
        elif how == 4:
            del content[chooser.randrange(len(content)):]
        elif how == 5:
            content[at:at + 4] = chooser.choice(
                (b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"\0\1\x86\xa0"))
        else:
            content[at:at] = bytes(chooser.randrange(256) for _ in range(chooser.randrange(1, 16)))
    return bytes(content)


def grade(endgrade, files):
    """What is wrong with a run over these files; nothing if all is well; and its exit code."""
    seconds = MOST_SECONDS if len(files) == 1 else 2 * MOST_SECONDS

    def bound():  # time of the processor: a busy machine is no hang
        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))

    try:
        done = subprocess.run([endgrade, "grade", "--json", "--limits", "sm-upc", "--threads", "1",
                               *files], capture_output=True, check=False, preexec_fn=bound,
                              timeout=60 * MOST_SECONDS)
    except subprocess.TimeoutExpired:
        return "hangs", None
    if done.returncode not in (0, 1, 2, 3):
        return f"ends with {done.returncode}: {done.stderr[-300:]}", done.returncode
    records = [json.loads(line) for line in done.stdout.splitlines()]
    if len(records) != len(files):
        return f"{len(records)} records of {len(files)} files", done.returncode
    for record in records:
        for reason in record["reasons"]:
            if "a library beneath us refused" in reason["text"]:
                return f"{reason['text']}: {record['image']['path']}", 0
    return "", done.returncode


def main():
    endgrade, count = Path(sys.argv[1]).resolve(), int(sys.argv[2])
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    seeds = list(make_seeds.pictures())
    kept = Path(tempfile.mkdtemp(prefix="endgrade-fuzz-command-"))
    codes, problems = Counter(), []
    for first in range(0, count, BATCH):
        files = []
        for number in range(first, min(first + BATCH, count)):
            chooser = random.Random(seed * 1_000_003 + number)
            file = kept / f"mutated-{number:06}.png"
            file.write_bytes(mutated(chooser.choice(seeds), chooser))
            files.append(file)
        problem, code = grade(endgrade, files)
        codes[code] += 1
        for file in files:
            alone = grade(endgrade, [file])[0] if problem else ""
            if alone:
                problems.append(f"{file}: {alone}")
                print(problems[-1], flush=True)
            else:
                file.unlink()
        if problem and not problems:
            problems.append(f"{files[0]} and on: {problem}, and none of them alone")
    print(f"{count} mutated pictures in runs of {BATCH}: exit codes {dict(codes)}, "
          f"{len(problems)} problems")
    if not problems:
        kept.rmdir()
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
