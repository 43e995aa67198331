#!/usr/bin/env bash
# Configures build/ for the scripts that build all of it. Usage: scripts/configure.sh [CMAKE'S OPTIONS]
# A folder that is new is built in half the time with files joined; one that is there stays as it is:
# file by file (cmake --preset release), a change to one file compiles no other.
set -euo pipefail
cd "$(dirname "$0")/.."

joined=()
if [ ! -e build/CMakeCache.txt ]; then joined=(-DENDGRADE_PRECOMPILE=ON); fi
cmake -S . -B build -G Ninja -DCMAKE_BUILD_TYPE=Release "${joined[@]}" "$@" >/dev/null
