#!/bin/sh
# Statistics of many people from a table that need not fit in memory:
#
#	testdata/bench/many.sh FOLDER [PEOPLE]
#
# writes a sealed results folder of PEOPLE invented persons (1,000,000 where nothing
# is said) into FOLDER/people, makes the statistics of many.yaml into
# FOLDER/statistics, and prints seconds, CPU and peak memory of both. GNU time is
# needed. A million persons take about 100 MB of disk.
set -e
here=$(cd "$(dirname "$0")" && pwd)
folder=${1:?the folder to work in}
people=${2:-1000000}
mkdir -p "$folder"
folder=$(cd "$folder" && pwd)
cd "$here/../.."
CGO_ENABLED=0 go build -o "$folder/tonocohort" ./cmd/tonocohort
go test -vet=off -c -o "$folder/write" ./pipeline
form='%e s, %U + %S s of CPU, %M KiB at most'
TONOCOHORT_PEOPLE=$people TONOCOHORT_FOLDER=$folder/people \
	/usr/bin/time -f "writing $people persons: $form" "$folder/write" -test.run TestWriteManyPeople -test.timeout 24h
/usr/bin/time -f "statistics: $form" "$folder/tonocohort" tables "$folder/people" \
	--analysis "$here/many.yaml" --out "$folder/statistics" --replace --quiet
