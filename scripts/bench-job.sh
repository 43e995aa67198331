#!/usr/bin/env bash
# How much of a changed job `endgrade verify` finds: 500 flipped bits over every file of a signed job
# (photographs, overlays, records, limits, attachments, job file, report, signature, manifest, the
# store's every byte), rows edited, swapped and deleted with a manifest made to match.
# A few minutes. Usage: scripts/bench-job.sh [--count N] [--seed S]   $ENDGRADE as in demo_job.sh
set -euo pipefail
cd "$(dirname "$0")/.."
endgrade=${ENDGRADE:-$PWD/build/endgrade}
count=500
seed=20261128
while [ $# -gt 0 ]; do
  case "$1" in
    --count) count=$2; shift 2 ;;
    --seed) seed=$2; shift 2 ;;
    *) echo "usage: $0 [--count N] [--seed S]" >&2; exit 2 ;;
  esac
done
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
ENDGRADE=$endgrade scripts/demo_job.sh "$folder/job" >"$folder/made.txt"
"$endgrade" key new --out "$folder/key.pem" >/dev/null
"$endgrade" job sign --key "$folder/key.pem" "$folder/job" >/dev/null
"$endgrade" verify "$folder/job" >"$folder/verified.txt" # whole before anything is changed
echo "$("$endgrade" --version), seed $seed, $(find "$folder/job" -type f | wc -l) files,"
echo "$(du -sk "$folder/job" | cut -f1) kB."
echo
/usr/bin/python3 -B scripts/flip_job.py "$endgrade" "$folder/job" "$count" "$seed"
"$endgrade" verify "$folder/job" >/dev/null && echo "The job verifies again once all is put back."
