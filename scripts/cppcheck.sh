#!/usr/bin/env bash
# cppcheck over the sources of the library and the command; any finding fails. Half a minute.
# Usage: scripts/cppcheck.sh [BUILD FOLDER], which must have been configured.
set -euo pipefail
cd "$(dirname "$0")/.."

# Why not:
#   containerOutOfBounds  cppcheck 2.10 takes std::array<T, kA + 1> for one of kA; in these files only
#   passedByValue         Judge moves its parameters into the grade
#   useInitializationList a member computed from another and a local is no initialiser
exec cppcheck --project="${1:-build}/compile_commands.json" --file-filter="$PWD/src/*" --quiet \
  --enable=warning,portability,performance --std=c++20 --error-exitcode=1 --suppress='*:/usr/include/*' \
  --suppress=containerOutOfBounds:"$PWD/src/locate/rim_model.cpp" \
  --suppress=containerOutOfBounds:"$PWD/src/locate/rim_solver.cpp" \
  --suppress=containerOutOfBounds:"$PWD/src/detect/line_profile.cpp" \
  --suppress=containerOutOfBounds:"$PWD/src/measure/blurred_disc.cpp" \
  --suppress=containerOutOfBounds:"$PWD/src/render/random.cpp" \
  --suppress=passedByValue:"$PWD/src/judge/judge.cpp" \
  --suppress=useInitializationList:"$PWD/src/render/sensor.cpp"
