#!/usr/bin/env bash
# cppcheck over the sources of the library and the command; any finding fails. Half a minute.
# Usage: scripts/cppcheck.sh
set -euo pipefail
cd "$(dirname "$0")/.."

# A project named by a relative path gives cppcheck relative names of files, so both names are whole;
# and the sources' is the one in compile_commands.json, whatever link this folder was entered by.
build=$(scripts/look_folder.sh)
source=$(sed -n 's/^CMAKE_HOME_DIRECTORY:INTERNAL=//p' "$build/CMakeCache.txt")

# Why not:
#   containerOutOfBounds  cppcheck 2.10 takes std::array<T, kA + 1> for one of kA; in these files only
#   passedByValue         Judge moves its parameters into the grade
#   useInitializationList a member computed from another and a local is no initialiser
exec cppcheck --project="$build/compile_commands.json" --file-filter="$source/src/*" --quiet \
  --enable=warning,portability,performance --std=c++20 --error-exitcode=1 --suppress='*:/usr/include/*' \
  --suppress=containerOutOfBounds:"$source/src/locate/rim_model.cpp" \
  --suppress=containerOutOfBounds:"$source/src/locate/rim_solver.cpp" \
  --suppress=containerOutOfBounds:"$source/src/detect/line_profile.cpp" \
  --suppress=containerOutOfBounds:"$source/src/measure/blurred_disc.cpp" \
  --suppress=containerOutOfBounds:"$source/src/render/random.cpp" \
  --suppress=passedByValue:"$source/src/judge/judge.cpp" \
  --suppress=useInitializationList:"$source/src/render/sensor.cpp"
