#!/usr/bin/env bash
# N faults (memory, disk, permissions, kills) in runs of 200 small pictures, `grade` and `lot` in turn:
# what is there afterwards is right, and a second run completes it. See tests/faults/faults.py.
# Usage: scripts/bench-faults.sh N [FOLDER] [SEED]   (seeds from 990001 on are for reporting)
set -euo pipefail
cd "$(dirname "$0")/.."
build=${ENDGRADE_BUILD:-build}
cmake --build "$build" --target endgrade_cli endgrade_fault_shim >/dev/null
exec /usr/bin/python3 -B tests/faults/faults.py "$build/endgrade" "$build/tests/fault_shim.so" \
  "${2:-/tmp/endgrade-bench-faults}" 200 "${1:?usage: scripts/bench-faults.sh N}" ${3:+"$3"}
