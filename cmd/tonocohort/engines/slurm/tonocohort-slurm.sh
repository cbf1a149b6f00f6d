#!/usr/bin/env bash
# A study on a Slurm cluster: an array job, a task a shard, and a merge behind it.
# The merge names the shards that are missing; these alone are submitted again.
#
#   tonocohort-slurm.sh STUDY SHARDS RESULTS N [OPTION OF tonocohort run…]
#
# STUDY, SHARDS and RESULTS lie on a file system that all nodes see. N is how many
# shards the study is divided into: best so many that one takes 10 minutes or more.
# Ends with the status of the merge: 0, or 3 where some recording could not be read.
#
#   TONOCOHORT=/path/to/tonocohort  the program, where it is not in PATH
#   CPUS=4                          processors of a task
#   SBATCH_EXTRA="-A lab -t 4:00:00 --mem=2G"  what the site wants to know
#   ROUNDS=3                        how often shards are submitted, the first time included
#   SHARD_WAIT=60s                  how long a shard may take to show on the node of the merge
#   DETACH=1                        submit once and return; the same command goes on later:
#                                   a shard that is finished stands
set -euo pipefail
[ $# -ge 4 ] || { sed -n '2,/^set /s/^# \{0,1\}//p' "$0" | sed '$d' >&2; exit 2; }
study=$(realpath "$1") shards=$(realpath -m "$2") results=$(realpath -m "$3") n=$4
shift 4
program=$(realpath "$(command -v "${TONOCOHORT:-tonocohort}")") || { echo "no tonocohort in PATH: TONOCOHORT=/path/to/tonocohort" >&2; exit 2; }
options=$(printf ' %q' "$@")
[ $# -gt 0 ] || options=
read -ra extra <<<"${SBATCH_EXTRA:-}"

case $n in ''|*[!0-9]*|0*) echo "N is '$n': a number from 1" >&2; exit 2 ;; esac
if [ -e "$results/manifest.json" ]; then echo "$results holds a finished run: give another folder" >&2; exit 2; fi
# Indices must be below MaxArraySize, which is 1001 where nobody changed it.
most=$(scontrol show config | awk '/^MaxArraySize/ {print $3}')
if [ "$n" -ge "$most" ]; then echo "this cluster has MaxArraySize $most: take fewer shards, and more CPUS" >&2; exit 2; fi
mkdir -p "$shards/log"

# submit_shards LIST OPTIONS: prints the number of the array job.
submit_shards() {
  local job
  # Ended by the scheduler or with its node, a task starts again: --requeue.
  job=$(sbatch --parsable -J tonocohort --array="$1" -n 1 -c "${CPUS:-1}" --requeue --open-mode=append \
    -o "$shards/log/%a.log" ${extra[@]+"${extra[@]}"} <<TASK
#!/bin/bash
echo "shard \$SLURM_ARRAY_TASK_ID of $n: node \$SLURMD_NODENAME, job \$SLURM_ARRAY_JOB_ID, restarts \${SLURM_RESTART_COUNT:-0}"
exec $(printf %q "$program") run $(printf %q "$study") --out $(printf %q "$shards")/shard=\$SLURM_ARRAY_TASK_ID --shard \$SLURM_ARRAY_TASK_ID/$n --jobs \${SLURM_CPUS_PER_TASK:-1} --quiet$2
TASK
)
  echo "${job%%;*}" # "number;cluster" in a federation
}

# submit_merge ARRAY: prints the number of the job. Behind afterok one failed task
# would keep the merge from ever starting, and nobody would be told what is missing.
submit_merge() {
  local job
  rm -f "$shards/log/merge.status"
  job=$(sbatch --parsable -J tonocohort-merge -n 1 -d "afterany:$1" --requeue --open-mode=truncate \
    -o "$shards/log/merge.log" ${extra[@]+"${extra[@]}"} <<TASK
#!/bin/bash
cd $(printf %q "$shards")
folders=(); for number in \$(seq $n); do folders+=("shard=\$number"); done
status=0
$(printf %q "$program") merge "\${folders[@]}" --out $(printf %q "$results") --wait ${SHARD_WAIT:-60s} --quiet --json >log/merge.json || status=\$?
echo \$status >log/merge.status.new && mv log/merge.status.new log/merge.status
exit \$status
TASK
)
  echo "${job%%;*}"
}

# await JOB: until it has left its status. Not "sbatch --wait", which asks ever more
# rarely, and not sacct, which needs a site with accounting.
await() {
  local queue
  until [ -s "$shards/log/merge.status" ]; do
    if queue=$(squeue -h -j "$1" 2>&1); then
      [ -n "$queue" ] || { sleep 5; return; }
    else
      case $queue in *'Invalid job id'*) sleep 5; return ;; esac # else the controller is busy
    fi
    sleep "${POLL:-10}"
  done
}

list=1-$n
for round in $(seq "${ROUNDS:-3}"); do
  # What is submitted again is damaged or incomplete: it may be written over.
  if [ "$round" -gt 1 ]; then array=$(submit_shards "$list" "$options --replace"); else array=$(submit_shards "$list" "$options"); fi
  merge=$(submit_merge "$array")
  echo "round $round: shards $list as job $array, merge as job $merge"
  [ -z "${DETACH:-}" ] || exit 0
  await "$merge"
  status=$(cat "$shards/log/merge.status" 2>/dev/null || echo 1)
  case $status in
    0|3|6) echo "results in $results"; exit "$status" ;;
    7) ;;
    *) echo "the merge ended with status $status: $shards/log/merge.log" >&2; exit "$status" ;;
  esac
  cat "$shards/log/merge.log"
  said=$(tr -d ' \n' <"$shards/log/merge.json")
  case $said in
    *'"other_'*|*'"not_a_shard"'*|*'"doubled"'*) echo "computing again would not help: clear $shards, or take another folder" >&2; exit 7 ;;
    *'"of":0,'*) list=1-$n ;; # there is none at all
    *) list=$(sed -n 's/.*"again":\[\([0-9,]*\)\].*/\1/p' <<<"$said") ;;
  esac
done
echo "shards $list are missing after ${ROUNDS:-3} rounds: their last lines are in $shards/log" >&2
exit 7
