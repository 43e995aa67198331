#!/usr/bin/env python3
"""For scripts/tidy.sh: clang-tidy over all of src/, each room as one file that includes its sources.

Nine tenths of the time goes into headers, which a room's sources share. Where two of them do not go
together (each has a kLeast of its own), the room is halved until they do, or stand alone.

Usage: scripts/tidy_rooms.py [TARGET...], e.g. endgrade_read endgrade_lay; or, with -TARGET, all but
those. Exits with 1 for what is not the analyzer's.
"""

import concurrent.futures
import json
import os
import pathlib
import re
import shlex
import subprocess
import sys
import tempfile

CHECKS = os.environ.get("ENDGRADE_TIDY_CHECKS", "") + ",-bugprone-suspicious-include"
CLASH = "clang-diagnostic-error"


def rooms_of(build: pathlib.Path) -> dict[str, list[dict]]:
    """The compile commands of each target's sources, by its name: a module has flags of its own."""
    source = pathlib.Path.cwd() / "src"
    rooms: dict[str, list[dict]] = {}
    for command in json.loads((build / "compile_commands.json").read_text()):
        if source in pathlib.Path(command["file"]).parents:
            target = re.search(r" -o \S*CMakeFiles/(\w+)\.dir/", command["command"])
            rooms.setdefault(target.group(1), []).append(command)
    return rooms


def flags_of(command: dict) -> list[str]:
    words = shlex.split(command["command"])
    return [word for word in words[1:words.index("-o")] if not word.startswith("-M")]


def look(folder: pathlib.Path, name: str, members: list[dict]) -> tuple[bool, str]:
    """Whether all is well with these sources, and what there is to say."""
    joined = folder / f"{name}.cpp"
    joined.write_text("".join(f'#include "{member["file"]}"\n' for member in members))
    done = subprocess.run(
        ["clang-tidy-14", "--quiet", "--config-file=.clang-tidy", f"--checks={CHECKS}",
         str(joined), "--", *flags_of(members[0]), "-Wno-unknown-warning-option"],
        capture_output=True, text=True, check=False)
    if CLASH in done.stdout and len(members) > 1:
        middle = len(members) // 2
        halves = [look(folder, f"{name}-{i}", half)
                  for i, half in enumerate((members[:middle], members[middle:]))]
        return all(well for well, _ in halves), "".join(said for _, said in halves)
    return done.returncode == 0, done.stdout


def main() -> int:
    build = subprocess.run(["scripts/look_folder.sh"], capture_output=True, text=True,
                           check=True).stdout.strip()
    rooms = rooms_of(pathlib.Path(build))
    named = sys.argv[1:]
    wanted = [name for name in named if not name.startswith("-")] or [
        name for name in rooms if f"-{name}" not in named]
    rooms = {name: rooms[name] for name in wanted}
    all_well = True
    with tempfile.TemporaryDirectory() as folder, \
            concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        begun = [pool.submit(look, pathlib.Path(folder), name, rooms[name])
                 for name in sorted(rooms, key=lambda name: -len(rooms[name]))]
        for room in concurrent.futures.as_completed(begun):
            well, said = room.result()
            sys.stdout.write(said)
            all_well &= well
    return 0 if all_well else 1


if __name__ == "__main__":
    sys.exit(main())
