#!/usr/bin/env bash
# Figures of `endgrade lot`: two cores against one, memory, overhead of the store, kills, report.
# Draws 10,000 small pictures first (a quarter of an hour and more) into FOLDER, or uses those that
# are there. Only means something on a machine that does nothing else.
# Usage: scripts/bench-lot.sh [FOLDER]
set -euo pipefail
cd "$(dirname "$0")/.."

endgrade=$PWD/build/endgrade
folder=${1:-/tmp/endgrade-bench-lot}
bench() { /usr/bin/python3 -B tests/benchmarks/lot/bench.py "$endgrade" "$@"; }
first() { # NUMBER NAME: a folder of the first so many pictures
  mkdir -p "$folder/$2"
  find "$folder/all" -name '*.jpg' | sort | head -n "$1" | xargs cp -t "$folder/$2"
}

if [ ! -d "$folder/all" ]; then
  /usr/bin/python3 -B tests/benchmarks/lot/make_lot.py "$endgrade" "$folder/all" 4850
fi
echo "$("$endgrade" --version), $(nproc) cores, load $(cut -d' ' -f1-3 /proc/loadavg)"
echo "== speed and memory, all pictures"
bench "$folder/all" speed
echo "== overhead, 500 pictures"
first 500 some
bench "$folder/some" overhead
echo "== 50 kills, 500 pictures"
bench "$folder/some" kills 50
echo "== report, 2,000 cords"
mkdir -p "$folder/cords"
find "$folder/all" -name 'cord-0[01]*.jpg' -print0 | xargs -0 cp -t "$folder/cords"
cp "$folder"/all/cord-02000*.jpg "$folder/cords"
bench "$folder/cords" report
