#!/usr/bin/env bash
# The properties of tests/properties/ on N renders (1,000) with seeds from 990001 on; what does not hold
# is listed with its seed as it is found. An hour of one core. Begins no more after $ENDGRADE_MINUTES.
# Usage: scripts/bench-properties.sh [N] [FIRST SEED]
set -euo pipefail
cd "$(dirname "$0")/.."
build=${ENDGRADE_BUILD:-build}
cmake --build "$build" --target test_properties_pictures >/dev/null
ENDGRADE_RENDERS=${1:-1000} ENDGRADE_FIRST_SEED=${2:-990001} exec \
  "$build/tests/test_properties_pictures"
