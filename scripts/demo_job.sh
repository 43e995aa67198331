#!/usr/bin/env bash
# Makes a job of the rendered pictures of images/demo/: photographs to report, signed and verified.
# Usage: scripts/demo_job.sh [JOB]   $ENDGRADE: the program; build/endgrade if it is not set
set -euo pipefail
cd "$(dirname "$0")/.."
endgrade=${ENDGRADE:-build/endgrade}
job=${1:-build/demo/job}
upc=images/demo/sm-upc
apc=images/demo/sm-apc

# 1: some fail, 3: some cannot be graded or are not inspected. Both are meant to be among them.
may_fail() {
  local status=0
  "$@" || status=$?
  if [ "$status" -ne 0 ] && [ "$status" -ne 1 ] && [ "$status" -ne 3 ]; then exit "$status"; fi
}

rm -rf "$job"
mkdir -p "$job"
cp images/demo/job.toml "$job/"
"$endgrade" job new "$job"
add() { may_fail "$endgrade" job add "$job" "$@"; }
add --port "Berth 1/01" --side port "$upc/berth-1-port-01.jpg"
add --port "Berth 1/01" --side cord "$upc/berth-1-port-01-cord.jpg"
add --port "Berth 1/02" --side port "$upc/berth-1-port-02-before.jpg" "$upc/berth-1-port-02-after.jpg"
add --port "Berth 2/05" "$upc/berth-2-port-05.jpg"
add --port "Berth 2/06" "$upc/berth-2-port-06.jpg"
add --port "Mast/21" "$apc/mast-port-21.jpg"
add --port "Mast/22" "$apc/mast-port-22-before.jpg" "$apc/mast-port-22-after.jpg"
"$endgrade" job attach "$job" "Berth 1/02" images/demo/berth-1-port-02-loss.csv
may_fail "$endgrade" job status "$job"
if command -v chromium >/dev/null || [ -n "${ENDGRADE_BROWSER:-}" ]; then
  may_fail "$endgrade" job report --pdf "$job"
else
  may_fail "$endgrade" job report "$job"
  echo "(With chromium installed, \`job report --pdf\` prints it.)"
fi
"$endgrade" verify "$job"
