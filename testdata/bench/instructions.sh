#!/usr/bin/env bash
# Instructions a recording, ours beside the C floor, where the clock is too noisy:
#   testdata/bench/instructions.sh [FEWER MORE]     60 and 180 recordings
# Callgrind counts a run of each size; the difference over the recordings more is what
# one costs, without what every run costs once. SHA-256 stands apart: callgrind's
# processor has no instruction for it, so that its count is far above what a machine
# executes. One thread and no preemption by signals, which callgrind cannot follow.
# Needs Go, gcc, valgrind and Debian's python3-numpy python3-scipy. The same build gives
# the same count to some 0.5 per cent, however busy the machine.
set -euo pipefail
cd "$(dirname "$0")/../.."
fewer=${1:-60} more=${2:-180} bench=testdata/bench
work=$(mktemp -d); trap 'rm -rf "$work"' EXIT
export GODEBUG=asyncpreemptoff=1 GOMAXPROCS=1

gcc -O3 -march=x86-64-v3 -o "$work/floor" $bench/floor.c -lm # not native: callgrind may not know the newest
CGO_ENABLED=0 go build -o "$work/tonocohort" ./cmd/tonocohort

count() { # count NAME COMMAND…: instructions in all and in SHA-256
  valgrind --tool=callgrind --callgrind-out-file="$work/$1.out" "${@:2}" >"$work/said" 2>&1 ||
    { [ $? -eq 3 ] || { tail -5 "$work/said"; exit 1; }; } # 3: some recording could not be used
  callgrind_annotate --auto=no --threshold=100 "$work/$1.out" |
    awk '{ gsub(",", "", $1) } /PROGRAM TOTALS/ { all = $1 } /sha256/ { sha += $1 } END { print all+0, sha+0 }' >"$work/$1"
}

for n in "$fewer" "$more"; do
  /usr/bin/python3 $bench/gen.py "$work/cohort$n" "$n" 256 40 1 2 >/dev/null
  sh $bench/make_study.sh "$work/cohort$n" "$work/study$n"
  count "floor$n" "$work/floor" comp "$work/cohort$n/csv" "$work/cohort$n/cohort.csv"
  count "ours$n" "$work/tonocohort" run "$work/study$n" --out "$work/results$n" --replace --jobs 1 --quiet
done
paste "$work/floor$fewer" "$work/floor$more" "$work/ours$fewer" "$work/ours$more" | awk -v d=$((more - fewer)) '{
  floor = ($3-$1)/d; ours = ($7-$5)/d; sha = ($8-$6)/d
  printf "floor %.3f million instructions a recording, ours %.3f without SHA-256 (ratio %.2f), SHA-256 %.3f\n", floor/1e6, (ours-sha)/1e6, (ours-sha)/floor, sha/1e6
  printf "what a run costs once, by the same line: %.0f million\n", ($5-$6-'"$fewer"'*(ours-sha))/1e6 }'
