#!/usr/bin/env bash
# A lot as a job array under Slurm: starts a controller and a node on loopback, submits one job for
# each part, merges the parts' stores and compares with one run. Everything lives in a temporary
# folder and ends with the script. Needs root and Debian's munge, slurmctld, slurmd, slurm-client.
# Usage: scripts/test-slurm.sh ENDGRADE PHOTOGRAPHS [PARTS]
set -euo pipefail

endgrade=$(realpath "$1")
photographs=$(realpath "$2")
parts=${3:-4}
work=$(mktemp -d)
# munged and the node's jobs look in as other users.
chmod 755 "$work"
started=()
finish() {
  for pid in "${started[@]}"; do kill "$pid" 2>/dev/null || true; done
  wait 2>/dev/null || true
  rm -rf "$work"
}
trap finish EXIT

dd if=/dev/urandom of="$work/munge.key" bs=1024 count=1 status=none
chmod 400 "$work/munge.key"
munged --foreground --force --key-file="$work/munge.key" --socket="$work/munge.socket" \
  --pid-file="$work/munged.pid" --seed-file="$work/munge.seed" --log-file="$work/munged.log" >/dev/null 2>&1 &
started+=($!)

host=$(hostname -s)
mkdir "$work/state" "$work/spool"
cat >"$work/slurm.conf" <<EOF
ClusterName=loopback
SlurmctldHost=$host(127.0.0.1)
SlurmUser=root
SlurmctldPort=16817
SlurmdPort=16818
AuthType=auth/munge
AuthInfo=socket=$work/munge.socket
CredType=cred/munge
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
ReturnToService=2
StateSaveLocation=$work/state
SlurmdSpoolDir=$work/spool
SlurmctldPidFile=$work/slurmctld.pid
SlurmdPidFile=$work/slurmd.pid
SlurmctldLogFile=$work/slurmctld.log
SlurmdLogFile=$work/slurmd.log
MpiDefault=none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
NodeName=$host NodeAddr=127.0.0.1 CPUs=$(nproc) State=UNKNOWN
PartitionName=all Nodes=$host Default=YES MaxTime=INFINITE State=UP
EOF
export SLURM_CONF=$work/slurm.conf
slurmctld -D -f "$SLURM_CONF" >/dev/null 2>&1 &
started+=($!)
slurmd -D -f "$SLURM_CONF" -N "$host" >/dev/null 2>&1 &
started+=($!)

for _ in $(seq 60); do
  state=$(sinfo --noheader --format=%t 2>/dev/null || true)
  [ "$state" = idle ] && break
  sleep 0.5
done
if [ "${state:-}" != idle ]; then
  echo "The node did not come up: \"${state:-}\"." >&2
  tail -n 5 "$work"/*.log >&2
  exit 1
fi

cat >"$work/part.sh" <<EOF
#!/bin/bash
"$endgrade" lot --limits sm-upc --threads 1 --out "$work/parts" \
  --shard "\$SLURM_ARRAY_TASK_ID/\$SLURM_ARRAY_TASK_COUNT" "$photographs"
EOF
mkdir "$work/parts"
sbatch --wait --array="1-$parts" --output="$work/part-%a.log" "$work/part.sh"
cat "$work"/part-*.log

"$endgrade" store merge --out "$work/parts/lot.sqlite" "$work"/parts/lot-*-of-*.sqlite
"$endgrade" lot --limits sm-upc --out "$work/whole" "$photographs" >"$work/whole.log" || true
head_of() { "$endgrade" store verify "$1" | sed -n 's/^Head: //p'; }
merged=$(head_of "$work/parts/lot.sqlite")
whole=$(head_of "$work/whole/lot.sqlite")
echo "head of $parts merged parts: $merged"
echo "head of one run:          $whole"
[ -n "$whole" ] && [ "$merged" = "$whole" ] && echo "the same"
