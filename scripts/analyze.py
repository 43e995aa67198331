#!/usr/bin/env python3
"""GCC's -fanalyzer over files of src/: memory, descriptors, nulls. Any finding fails.

GCC 12 means it for C: of C++ it follows what is written as in C, which here is what reads pictures
by libpng, libjpeg and libtiff and what opens files by their descriptors. Minutes for all of src/.

Usage: scripts/analyze.py [ROOM...], e.g. read evidence; without rooms, all.
"""

import concurrent.futures
import json
import os
import pathlib
import re
import shlex
import subprocess
import sys

# What GCC 12 says of C++ that is as it should be: a value returned by value has no name for it and
# counts as uninitialized wherever it is used; "new" as if it gave null where it throws; and texts
# that a statement makes and drops as leaks.
NOT_SO = re.compile(r"use of uninitialized value \S<unknown>|possibly-NULL \S*operator new|"
                    r"leak of \S<anonymous>\.std::__cxx11::basic_string|"
                    r"^/usr/include/")


def analyze(command):
    words = shlex.split(command["command"])
    if pathlib.Path(words[0]).name == "ccache":
        words = words[1:]
    words[words.index("-o") + 1] = "/dev/null"
    done = subprocess.run([*words, "-fanalyzer", "-Wno-error", "-fdiagnostics-plain-output"],
                          cwd=command["directory"], capture_output=True, text=True, check=False)
    found = [line for line in done.stderr.splitlines() if "[-Wanalyzer-" in line]
    if done.returncode != 0:
        found.append(f"{command['file']}: does not compile: {done.stderr[-300:]}")
    return [line for line in found if not NOT_SO.search(line)]


def main():
    scripts = pathlib.Path(__file__).resolve().parent
    source = scripts.parent / "src"
    rooms = [source / room for room in sys.argv[1:]] or [source]
    build = subprocess.run([scripts / "look_folder.sh"], capture_output=True, text=True,
                           check=True).stdout.strip()
    commands = [command for command in
                json.loads((pathlib.Path(build) / "compile_commands.json").read_text())
                if any(room in pathlib.Path(command["file"]).parents for room in rooms)]
    found = set()
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        for lines in pool.map(analyze, commands):
            found.update(lines)
    print("\n".join(sorted(found)))
    print(f"{len(commands)} files, {len(found)} findings")
    return 1 if found or not commands else 0


if __name__ == "__main__":
    sys.exit(main())
