#!/usr/bin/env bash
# Installs a build to a folder that did not exist, compiles a client against it from another one,
# and compares what the client and the installed command say of a picture.
# Usage: client_test.sh BUILD_FOLDER SOURCE_FOLDER
set -euo pipefail
build=$1
source=$2
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

cmake --install "$build" --prefix "$work/prefix" >/dev/null
# Moved, so that nothing can lean on the place that it was installed to.
mv "$work/prefix" "$work/moved"
export ENDGRADE_ZONES="$work/moved/share/endgrade/zones"
cmake -S "$source/tests/install/client" -B "$work/client" -G Ninja -DCMAKE_BUILD_TYPE=Release \
  -DCMAKE_PREFIX_PATH="$work/moved" >"$work/log" || { cat "$work/log"; exit 1; }
cmake --build "$work/client" >"$work/log" || { cat "$work/log"; exit 1; }

without_times() { sed -E 's/"timing_ms":\{[^}]*\}//'; }
picture=$(find "$source/images/demo/sm-upc" -name '*.jpg' -o -name '*.png' | sort | head -n 1)
"$work/client/client" sm-upc "$picture" | without_times >"$work/by_client"
unset ENDGRADE_ZONES
"$work/moved/bin/endgrade" grade --json --limits sm-upc "$picture" | without_times \
  >"$work/by_command" || [ $? -ne 2 ]

grep -q '"schema":"endgrade.result/1"' "$work/by_client"
diff "$work/by_client" "$work/by_command"
