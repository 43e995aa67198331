#!/usr/bin/env bash
# Renders faces before and after a cleaning, compares them with build/endgrade and prints how often
# rotation, place and fates are right.
#   scripts/bench-compare.sh [--seed N] [--count N]   default: 500 pairs from the reporting seeds
#   scripts/bench-compare.sh --strangers              each face against the next one: nothing may match
# $ENDGRADE: the program; build/endgrade if it is not set. Writes into build/compare/.
set -euo pipefail
cd "$(dirname "$0")/.."
endgrade=${ENDGRADE:-build/endgrade}
if [ ! -x "$endgrade" ]; then
  scripts/configure.sh
  cmake --build build --target endgrade_cli
fi
/usr/bin/python3 -B tests/benchmarks/compare/bench_compare.py --endgrade "$endgrade" "$@"
