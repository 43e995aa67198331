#!/usr/bin/env bash
# Renders pictures with known truth, grades them with build/endgrade and prints how right it was.
#   scripts/bench-accuracy.sh [--count N] [--seed N]
#   scripts/bench-accuracy.sh --locate DIR...   errors of located fibres alone, by camera; folders of
#                                               `endgrade render` or of the second renderer
#   scripts/bench-accuracy.sh --curve    share found against signal-to-noise, beside the ideal observer
#   scripts/bench-accuracy.sh --chain    what a camera's own processing costs that observer
#   scripts/bench-accuracy.sh --sight    whether features of smallest_visible_um are found as stated
#   scripts/bench-accuracy.sh --others   beside SEP, scikit-image, SciPy, ImageJ and published methods
#                                        (packages: scripts/install_packages.sh bench)
# Each of these takes [--count N] [--seed N]; pictures are kept and drawn only once.
# Writes into build/accuracy/. Default: 500 pictures from the reporting seeds.
set -euo pipefail
cd "$(dirname "$0")/.."
if [ ! -x build/endgrade ]; then
  scripts/configure.sh
  cmake --build build --target endgrade_cli
fi
if [ "${1:-}" = --locate ]; then
  shift
  cmake --build build --target locate_bench >/dev/null
  exec build/tests/locate_bench "$@"
fi
program=bench_accuracy
command="scripts/bench-accuracy.sh $*"
case "${1:-}" in
  --curve) program=yardstick ;;
  --chain) program=chain_loss ;;
  --sight) program=sight_check ;;
  --others) program=side_by_side ;;
esac
[ "$program" = bench_accuracy ] || shift
/usr/bin/python3 -B "tests/benchmarks/accuracy/$program.py" \
  --command "$command" "$@"
