#!/usr/bin/env bash
# Measures time and memory of every step and of the whole command, beside the least that opening the
# file costs (libjpeg-turbo) and beside a short OpenCV script, all in one run on the same pictures.
#   scripts/bench-speed.sh [--pairs N] [--quick]
# Writes build/speed/speed.md. Leave the machine alone meanwhile; ten minutes.
set -euo pipefail
cd "$(dirname "$0")/.."
scripts/install_packages.sh bench
if [ ! -f build/build.ninja ]; then
  scripts/configure.sh
fi
cmake -S . -B build -DENDGRADE_BENCHMARKS=ON >/dev/null
cmake --build build --target endgrade_cli bench_speed_steps
/usr/bin/python3 -B tests/benchmarks/speed/bench_speed.py --build build \
  --command "scripts/bench-speed.sh $*" "$@"
