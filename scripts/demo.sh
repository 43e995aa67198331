#!/usr/bin/env bash
# Builds endgrade, grades the pictures of images/demo/, and compares those taken before and after a
# cleaning. Installs packages where they are missing.
set -euo pipefail
cd "$(dirname "$0")/.."

scripts/install_packages.sh build
scripts/configure.sh -DENDGRADE_TESTS=OFF
cmake --build build --target endgrade_cli

# One folder for each table of limits, named like it.
for folder in images/demo/*/; do
  limits=$(basename "$folder")
  printf '\n== %s ==\n' "$limits"
  status=0
  build/endgrade grade --limits "$limits" --out "build/demo/$limits" "$folder" || status=$?
  # 1: some fail, 3: some cannot be graded. Both are meant to be among them.
  if [ "$status" -ne 0 ] && [ "$status" -ne 1 ] && [ "$status" -ne 3 ]; then exit "$status"; fi
done

# What a cleaning did: the same face before and after, one page a pair.
for before in images/demo/*/*-before.jpg; do
  limits=$(basename "$(dirname "$before")")
  pair=$(basename "$before" -before.jpg)
  printf '\n== %s, before and after ==\n' "$pair"
  status=0
  build/endgrade compare --limits "$limits" --out "build/demo/compared/$pair" \
    "$before" "${before%-before.jpg}-after.jpg" || status=$?
  if [ "$status" -ne 0 ] && [ "$status" -ne 1 ] && [ "$status" -ne 3 ]; then exit "$status"; fi
done

printf '\n== a job of them ==\n'
scripts/demo_job.sh

cat <<'END'

Look at the verdicts on the pictures:    build/demo/*/overlays/
A job's report, and as PDF:              build/demo/job/report/
Records, one line of JSON a picture:     build/demo/*/results.ndjson
Before and after, under a slider:        build/demo/compared/*/comparison.html
What the pictures show:                  images/demo/README.md
A picture of your own:                   build/endgrade grade --limits sm-upc --out graded PICTURE
END
