#!/usr/bin/env bash
# Prints the folder whose compile_commands.json has each file of src/ by itself, made if need be: for
# the scripts that look at sources. A joined build's names files that join others, and no source.
set -euo pipefail
cd "$(dirname "$0")/.."

cmake --preset look >/dev/null
cmake --build --preset look >/dev/null  # a header that is written by the build
realpath build-look
