package tabulate

import (
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/exact"
)

// The ratio whose mean must not be taken for the ratio of the means.
const (
	amplificationRatio = "pp_amplification_ratio"
	brachialPP         = "brachial_pp_mmhg"
	centralPP          = "central_pp_mmhg"
)

// ratioOfMeans writes mean brachial over mean central pulse pressure, by cell.
func (s *summariser) ratioOfMeans(f *schema.Frame, set set, strata *strata) {
	if !s.c.frame.Has(brachialPP) || !s.c.frame.Has(centralPP) {
		return
	}
	lines := make([]cellLines, len(strata.labels))
	write := func(cell, n, rows int, l line) {
		l.Statistic, l.Unit = "ratio_of_means", "1"
		l.Method += ": " + brachialPP + " / " + centralPP
		l.Note = join("not the mean of the persons' ratios", l.Note, s.est.note())
		lines[cell] = cellLines{lines: []line{l}, n: n, missing: strata.size[cell] - rows}
	}
	if est, byRow := s.est.(rowEstimator); byRow {
		above, below := s.c.frame.Numbers(brachialPP), s.c.frame.Numbers(centralPP)
		for margin := range strata.cells {
			dealPairs(strata, margin, set.rows, above, below, func(cell int, rows []int32, above, below []float64) {
				write(cell, est.people(group{values: above, rows: rows}), len(rows), est.ratio(rows, above, below))
			})
		}
	} else {
		byFinest := strata.pairs(s.c.frame, set.rows, brachialPP, centralPP)
		for margin := range strata.cells {
			pairs := pairedMeans(strata, margin, byFinest)
			for _, cell := range strata.inMargin[margin] {
				p := &pairs[cell]
				ratio, interval := stats.RatioOfMeans(p, confidence)
				write(cell, p.N, p.N, line{stats.Result{Estimate: ratio, Method: "ratio of means"}, interval})
			}
		}
	}
	for cell, l := range lines {
		s.write(f, place{set: set.name, variable: amplificationRatio, labels: strata.labels[cell]}, l)
	}
}

// dealPairs hands pairs of values out to the cells of one margin, in the order of
// the rows: a margin at a time, as the dealer does, to hold them once.
func dealPairs(strata *strata, margin int, setRows []int32, above, below []float64, each func(cell int, rows []int32, above, below []float64)) {
	start := make([]int, len(strata.labels)+1)
	whole := func(row int32) bool { return !math.IsNaN(above[row]) && !math.IsNaN(below[row]) }
	for i, row := range setRows {
		if whole(row) {
			start[strata.at(margin, i)+1]++
		}
	}
	for i := range strata.labels {
		start[i+1] += start[i]
	}
	n := start[len(strata.labels)]
	rows, tops, bottoms := make([]int32, n), make([]float64, n), make([]float64, n)
	next := slices.Clone(start)
	for i, row := range setRows {
		if !whole(row) {
			continue
		}
		k := &next[strata.at(margin, i)]
		rows[*k], tops[*k], bottoms[*k] = row, above[row], below[row]
		*k++
	}
	for _, cell := range strata.inMargin[margin] {
		from, to := start[cell], start[cell+1]
		each(cell, rows[from:to], tops[from:to], bottoms[from:to])
	}
}

// pairedMeans gives by cell of one margin what the ratio of two means is made of;
// byFinest is by the cells of all stratum columns.
func pairedMeans(s *strata, margin int, byFinest []exact.Pairs) []exact.Pairs {
	out := make([]exact.Pairs, len(s.labels))
	for i, cell := range s.cells[margin] {
		out[cell].Merge(&byFinest[i])
	}
	return out
}

// pairs sums the rows of a set that have both values.
func (s *strata) pairs(f *schema.Frame, rows []int32, above, below string) []exact.Pairs {
	out := make([]exact.Pairs, len(s.sizeOf))
	at := 0
	f.EachNumbers(func(first int, cells [][]float64) {
		for ; at < len(rows) && int(rows[at]) < first+len(cells[0]); at++ {
			a, b := cells[0][int(rows[at])-first], cells[1][int(rows[at])-first]
			if !math.IsNaN(a) && !math.IsNaN(b) {
				out[s.finest[at]].Add(a, b)
			}
		}
	}, above, below)
	return out
}
