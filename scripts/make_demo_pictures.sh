#!/usr/bin/env bash
# Draws the pictures of images/demo/ anew from the scene files beside them, byte for byte.
#   scripts/make_demo_pictures.sh           writes images/demo/
#   scripts/make_demo_pictures.sh --check   draws into a temporary folder and compares
# $ENDGRADE: the program to draw with; build/endgrade if it is not set.
set -euo pipefail
cd "$(dirname "$0")/.."
endgrade=${ENDGRADE:-build/endgrade}
if [ ! -x "$endgrade" ]; then
  echo "$endgrade is not there: run scripts/demo.sh first, which builds it." >&2
  exit 2
fi

out=images/demo
if [ "${1:-}" = --check ]; then
  out=$(mktemp -d)
  trap 'rm -rf "$out"' EXIT
fi
for scene in images/demo/*/*.toml; do
  folder=$(basename "$(dirname "$scene")")
  "$endgrade" render --scene "$scene" --out "$out/$folder"
done
if [ "$out" = images/demo ]; then exit 0; fi

for drawn in "$out"/*/*; do
  cmp "$drawn" "images/demo/${drawn#"$out"/}"
done
echo "The pictures are those that their scene files describe."
