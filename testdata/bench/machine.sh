#!/usr/bin/env bash
# Every figure of one machine beside its target: CPU ratios against the C floor and
# the NumPy peer, two workers against one, peak of resident memory, growth with N.
#   testdata/bench/machine.sh [RECORDINGS [LARGEST]]     2000 recordings, 100000
# LARGEST / 100, / 10 and LARGEST people give the exponent; 0 leaves them out.
# REPEATS=5 rounds, each command in turn; WORK=folder keeps inputs for the next time.
# Needs Go, gcc, and Debian's python3-numpy python3-scipy python3-pandas. On a busy
# machine walls mean nothing and CPU ratios drift: the load is printed first.
set -euo pipefail
cd "$(dirname "$0")/../.."
n=${1:-2000} largest=${2:-100000} repeats=${REPEATS:-5}
if [ -n "${WORK:-}" ]; then work=$WORK; mkdir -p "$work"; else work=$(mktemp -d); trap 'rm -rf "$work"' EXIT; fi
export OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 MKL_NUM_THREADS=1
bench=testdata/bench python=/usr/bin/python3

gcc -O3 -march=native -o "$work/floor" $bench/floor.c -lm
CGO_ENABLED=0 go build -o "$work/tonocohort" ./cmd/tonocohort
made() { [ -e "$work/$1.$n" ]; } # WORK may hold inputs of another size
if ! made inputs; then
  rm -rf "$work"/{cohort,csv,edf,wfdb,many*} "$work"/*.[0-9]*
  $python $bench/gen.py "$work/cohort" "$n" 256 40 1 2
  for form in csv edf wfdb; do sh $bench/make_study.sh "$work/cohort" "$work/$form"; done
  for form in edf wfdb; do $python $bench/machine_inputs.py binary "$work/cohort" "$work/$form" $form; done
  touch "$work/inputs.$n"
fi
many=()
if [ "$largest" -gt 0 ]; then
  for size in $((largest / 100)) $((largest / 10)) "$largest"; do
    [ -e "$work/many$size/recordings.csv" ] || $python $bench/machine_inputs.py many "$work/csv" "$work/many$size" "$size"
    many+=("$size")
  done
fi
$python $bench/machine.py "$work" "$n" "$repeats" ${many[@]+"${many[@]}"}
