#!/usr/bin/env bash
# Fuzzes targets of tests/fuzz (all of them) for MINUTES together, from drawn seeds and from what
# earlier runs kept. Stops at nothing: each target's findings are listed at the end, and any is a
# failure. A crash, a leak, an undefined step, an input that takes over 5 s or 2 GB is a finding.
# Usage: scripts/fuzz.sh MINUTES [FOLDER for corpora and findings] [TARGET...]
# Clang 14 and its sanitizers: scripts/install_packages.sh fuzz.
set -euo pipefail
cd "$(dirname "$0")/.."

minutes=${1:?usage: scripts/fuzz.sh MINUTES [FOLDER] [TARGET...]}
build=${ENDGRADE_FUZZ_BUILD:-build-fuzz}
folder=$(realpath -m "${2:-$build/corpus}")
shift $(($# < 2 ? $# : 2))
targets=("$@")
[ ${#targets[@]} -gt 0 ] || targets=(picture exif text store job grade)

built=("${targets[@]/#/fuzz_}")
for target in "${targets[@]}"; do # whose seeds the command makes
  case $target in text | store | job) built+=(endgrade_cli) ;; esac
done
[ -n "${ENDGRADE_FUZZ_BUILD:-}" ] || cmake --preset fuzz >/dev/null
cmake --build "$build" --target "${built[@]}"
mkdir -p "$folder"
/usr/bin/python3 -B tests/fuzz/make_seeds.py "$(realpath "$build")/endgrade" "$folder/seeds" \
  "${targets[@]}"

seconds=$((minutes * 60 / ${#targets[@]}))
export ASAN_OPTIONS=detect_leaks=1
ENDGRADE_FUZZ_SCRATCH=$(mktemp -d -p /dev/shm endgrade-fuzz.XXXXXX)
export ENDGRADE_FUZZ_SCRATCH
trap 'rm -rf "$ENDGRADE_FUZZ_SCRATCH"' EXIT
silent=0
for target in "${targets[@]}"; do
  mkdir -p "$folder/$target" "$folder/findings/$target"
  "$build/tests/fuzz/fuzz_$target" "$folder/$target" "$folder/seeds/$target" \
    -max_total_time="$seconds" -timeout="${ENDGRADE_FUZZ_TIMEOUT_S:-5}" -rss_limit_mb=2048 \
    -max_len=65536 -fork=1 -ignore_crashes=1 -ignore_ooms=1 -ignore_timeouts=1 \
    -artifact_prefix="$folder/findings/$target/" >"$folder/$target.log" 2>&1 || true
  last=$(grep -E '^#[0-9]+: cov' "$folder/$target.log" | tail -1 || true)
  printf '%s: %s\n' "$target" "${last:-ran nothing; see $folder/$target.log}"
  [ -n "$last" ] || silent=1
done

# A child that ends between two inputs leaves an empty finding: the leak check of a busy machine may,
# and so may memory that an input has damaged. If every input of the corpus runs clean in one process,
# one after the other, it is told and not counted.
for target in "${targets[@]}"; do
  empty="$folder/findings/$target/crash-da39a3ee5e6b4b0d3255bfef95601890afd80709" # SHA-1 of nothing
  [ -f "$empty" ] || continue
  if "$build/tests/fuzz/fuzz_$target" "$folder/$target" "$folder/seeds/$target" -runs=0 \
    -rss_limit_mb=2048 -timeout="${ENDGRADE_FUZZ_TIMEOUT_S:-5}" >"$folder/$target.again.log" 2>&1 &&
    "$build/tests/fuzz/fuzz_$target" "$empty" >>"$folder/$target.again.log" 2>&1; then
    rm "$empty"
    echo "$target: a child ended outside of any input; its corpus runs clean"
  fi
done

count=$(find "$folder/findings" -type f | wc -l)
echo "$count findings"
find "$folder/findings" -type f
[ "$count" -eq 0 ] && [ "$silent" -eq 0 ]
