#!/usr/bin/env bash
# Renders pictures with known truth, grades them with build/endgrade and prints how right it was.
#   scripts/bench-accuracy.sh [--count N] [--seed N]
#   scripts/bench-accuracy.sh --locate DIR...   errors of located fibres alone, by camera; folders of
#                                               `endgrade render` or of the second renderer
# Writes build/accuracy/accuracy.md. Default: 500 pictures from the reporting seeds.
set -euo pipefail
cd "$(dirname "$0")/.."
if [ ! -x build/endgrade ]; then
  cmake -S . -B build -G Ninja -DCMAKE_BUILD_TYPE=Release >/dev/null
  cmake --build build --target endgrade_cli
fi
if [ "${1:-}" = --locate ]; then
  shift
  cmake --build build --target locate_bench >/dev/null
  exec build/tests/locate_bench "$@"
fi
/usr/bin/python3 -B tests/benchmarks/accuracy/bench_accuracy.py \
  --command "scripts/bench-accuracy.sh $*" "$@"
