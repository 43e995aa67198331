#!/usr/bin/env bash
# N mutated photographs (10,000) through `endgrade grade` itself: exit codes 0 to 3 only, never a signal,
# a record for each, 5 s and 1 GB at most. What breaks it is kept and named.
# Usage: scripts/fuzz-command.sh [N] [SEED]
set -euo pipefail
cd "$(dirname "$0")/.."
build=${ENDGRADE_BUILD:-build}
cmake --build "$build" --target endgrade_cli >/dev/null
exec /usr/bin/python3 -B tests/fuzz/mutate_and_grade.py "$build/endgrade" "${1:-10000}" "${2:-1}"
