#!/usr/bin/env bash
# Builds endgrade and runs all its tests. Installs packages where they are missing.
# Usage: scripts/test.sh [ctest's options], e.g. scripts/test.sh -R locate
set -euo pipefail
cd "$(dirname "$0")/.."

scripts/install_packages.sh test
scripts/configure.sh -DENDGRADE_TESTS=ON
cmake --build build
ctest --test-dir build --output-on-failure --parallel "$(nproc)" --no-tests=error "$@"
