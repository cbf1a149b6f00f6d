#!/bin/sh
# Turns a cohort of gen.py (COHORT/cohort.csv and COHORT/csv) into a study folder.
# usage: make_study.sh COHORT STUDY
set -eu
cohort=$1; study=$2
mkdir -p "$study"
cp -r "$cohort/csv" "$study/waves"
cat > "$study/study.yaml" <<'Y'
format: 1
study: {id: bench}
tables: {subjects: subjects.csv, visits: visits.csv, cuff: cuff.csv, recordings: recordings.csv}
Y
awk -F, -v dir="$study" '
NR == 1 { for (i = 1; i <= NF; i++) c[$i] = i
  print "subject_id,sex,height_cm" > dir "/subjects.csv"
  print "subject_id,visit_id,age_years" > dir "/visits.csv"
  print "subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg" > dir "/cuff.csv"
  print "recording_id,subject_id,visit_id,file,format,channel,sampling_hz,unit" > dir "/recordings.csv"; next }
{ id = $c["id"]
  print id "," ($c["sex"] == 1 ? "male" : "female") "," $c["height"] > dir "/subjects.csv"
  print id ",v1," $c["age"] > dir "/visits.csv"
  print id ",v1,1," $c["sbp"] "," $c["dbp"] > dir "/cuff.csv"
  print id "," id ",v1,waves/" id ".csv,csv,p_raw," $c["fs"] ",au" > dir "/recordings.csv" }' "$cohort/cohort.csv"
