#!/usr/bin/env bash
# The statistics beside R on the same invented tables, in one run, each task in a
# process of its own, R's and ours in turn: CPU seconds, medians, ratios.
#   testdata/bench/statistics.sh [REPEATS [ROWS]]     5 repeats, 1000000 rows
# Needs Go, R and (Debian) r-cran-estimatr -sandwich -quantreg -mice -vgam
# -data.table; ONLY="hc3 median" does some of the tasks. A quiet machine is needed
# for wall times alone.
set -euo pipefail
cd "$(dirname "$0")/../.."
repeats=${1:-5} rows=${2:-1000000}
only=${ONLY:-hc3 median impute percentiles lms quantile}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
export OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=2 GOMAXPROCS=2 # one thread is the least CPU for R's matrices

CGO_ENABLED=0 go build -o "$work/ours" ./testdata/bench/statistics
"$work/ours" make "$work/large.csv" "$rows"
"$work/ours" make "$work/tenth.csv" $((rows / 10))
"$work/ours" make "$work/fifth.csv" $((rows / 5))

ours() { "$work/ours" "$1" "$work/$2.csv" | tee -a "$work/results"; }
r() { Rscript testdata/bench/statistics.R "$1" "$work/$2.csv" | tee -a "$work/results"; }
wanted() { case " $only " in *" $1 "*) ;; *) return 1 ;; esac; }

for _ in $(seq "$repeats"); do
  if wanted hc3; then
    r hc3_estimatr large; r hc3_sandwich large; r hc3_by_hand large
    ours hc3_kernel large; ours hc3_tables large
  fi
  if wanted median; then r median_fn large; ours median_kernel large; ours median_tables large; fi
  if wanted impute; then r impute_mice_pmm tenth; ours impute_kernel tenth; ours impute_tables tenth; fi
  if wanted percentiles; then r percentiles_base large; ours percentiles_tables large; fi
  if wanted quantile; then r quantile_rq fifth; ours quantile_tables fifth; fi
  if wanted lms; then r lms_vgam fifth; ours lms_tables fifth; fi
done

awk -v repeats="$repeats" '
  function value(name) { for (i = 3; i <= NF; i++) if (index($i, name "=") == 1) return substr($i, length(name) + 2) }
  function median(list, parts, k, i, j, t) {
    k = split(list, parts, " ")
    for (i = 2; i <= k; i++) for (j = i; j > 1 && parts[j] + 0 < parts[j-1] + 0; j--) { t = parts[j]; parts[j] = parts[j-1]; parts[j-1] = t }
    return k % 2 ? parts[(k + 1) / 2] : (parts[k / 2] + parts[k / 2 + 1]) / 2
  }
  function row(task, base, allowed, ratio) {
    if (!(task in cpu)) return
    ratio = base in cpu ? sprintf("%.3f", median(cpu[task]) / median(cpu[base])) : ""
    printf "%-20s %9.2f %9.2f %7d %7d  %-16s %7s %s\n", task, median(cpu[task]), least[task], median(peak[task]), data[task], base, ratio, allowed
  }
  /^RESULT/ {
    if (!($2 in cpu) || value("wall") < least[$2]) least[$2] = value("wall")
    cpu[$2] = cpu[$2] " " value("cpu"); peak[$2] = peak[$2] " " value("peak_mb"); data[$2] = value("data_mb")
  }
  END {
    printf "\n%-20s %9s %9s %7s %7s  %-16s %7s %s\n", "task", "CPU s", "least wall", "peak MB", "data MB", "beside", "ratio", "aim"
    row("hc3_estimatr"); row("hc3_sandwich"); row("hc3_by_hand")
    row("hc3_kernel", "hc3_estimatr", "0.25"); row("hc3_tables", "hc3_estimatr", "0.25")
    row("median_fn"); row("median_kernel", "median_fn", "0.5"); row("median_tables", "median_fn", "0.5")
    row("impute_mice_pmm"); row("impute_kernel", "impute_mice_pmm", "0.25"); row("impute_tables", "impute_mice_pmm", "0.25")
    row("percentiles_base"); row("percentiles_tables", "percentiles_base", "3 s wall")
    row("quantile_rq"); row("quantile_tables", "quantile_rq", "20 s wall with the next")
    row("lms_vgam"); row("lms_tables", "lms_vgam")
  }' "$work/results"
