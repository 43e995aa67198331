#!/usr/bin/env bash
# Runs clang-tidy (.clang-tidy) over the sources of the library and the command; what is not the
# analyzer's fails.
# Usage: scripts/tidy.sh [FILE...]; without files, all of src/, each room at once
# (scripts/tidy_rooms.py): a tenth of the time.
# ENDGRADE_TIDY_CHECKS is added to the checks of .clang-tidy: '-clang-analyzer-*' is thrice as fast.
set -euo pipefail
cd "$(dirname "$0")/.."

if [ $# -eq 0 ]; then
  exec python3 scripts/tidy_rooms.py
fi
folder=$(scripts/look_folder.sh)
printf '%s\0' "$@" | xargs -0 -r -n 1 -P "$(nproc)" \
  clang-tidy-14 -p "$folder" --quiet --extra-arg=-Wno-unknown-warning-option \
  --checks="${ENDGRADE_TIDY_CHECKS:-}" \
  2> >(grep -vE '^[0-9]+ warnings? (and [0-9]+ errors? )?generated' >&2)
