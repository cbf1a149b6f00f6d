package tabulate

import (
	"slices"

	"tonocohort/stats"
)

// levels describes a variable of levels: how many people are at each and which
// share of those with an answer, by cell. Every level that is declared or
// occurs in the set has its rows in every cell, so that a zero is seen.
func (s *summariser) levels(cells []cellLines, set set, strata *strata, name string) {
	f := s.c.factor(name)
	shown := make([]bool, len(f.levels))
	for level := range s.c.column(name).Levels {
		shown[level] = true
	}
	for _, row := range set.rows {
		if f.code[row] >= 0 {
			shown[f.code[row]] = true
		}
	}
	est, byRow := s.est.(rowEstimator)
	if !byRow {
		s.countLevels(cells, set, strata, f, shown)
		return
	}
	for margin := range strata.cells {
		dealLevels(strata, margin, set.rows, f, func(cell int, g group) {
			n := est.people(g)
			out := cellLines{n: n, missing: g.missing, lines: append(counted(n, g.missing), est.size(g)...)}
			for level, there := range shown {
				if there {
					out.lines = append(out.lines, s.level(est, g, f, level)...)
				}
			}
			cells[cell] = out
		})
	}
}

// countLevels does so where every row is a person: counts are all that is needed.
func (s *summariser) countLevels(cells []cellLines, set set, strata *strata, f factor, shown []bool) {
	width := len(f.levels) + 1 // the last is the missing level
	counts := make([]int, len(strata.cells[0])*width)
	for i, row := range set.rows {
		code := int(f.code[row])
		if code < 0 {
			code = len(f.levels)
		}
		counts[int(strata.finest[i])*width+code]++
	}
	for margin, byFinest := range strata.cells {
		own := make([][]int, len(strata.labels))
		for _, cell := range strata.inMargin[margin] {
			own[cell] = make([]int, width)
		}
		for finest, cell := range byFinest {
			for code := range width {
				own[cell][code] += counts[finest*width+code]
			}
		}
		for _, cell := range strata.inMargin[margin] {
			missing := own[cell][len(f.levels)]
			n := strata.size[cell] - missing
			out := cellLines{n: n, missing: missing, lines: counted(n, missing)}
			for level, there := range shown {
				if there {
					hits := own[cell][level]
					out.lines = append(out.lines, s.levelLines(f, level, hits, sharedBy(hits, n))...)
				}
			}
			cells[cell] = out
		}
	}
}

// dealLevels hands the rows with a level out to the cells of one margin, in their
// order; shares need no values, only that there are so many.
func dealLevels(strata *strata, margin int, setRows []int32, f factor, each func(cell int, g group)) {
	start := make([]int, len(strata.labels)+1)
	missing := make([]int, len(strata.labels))
	most := 0
	for i, row := range setRows {
		if cell := strata.at(margin, i); f.code[row] < 0 {
			missing[cell]++
		} else {
			start[cell+1]++
			most = max(most, start[cell+1])
		}
	}
	for i := range strata.labels {
		start[i+1] += start[i]
	}
	rows, none := make([]int32, start[len(strata.labels)]), make([]float64, most)
	next := slices.Clone(start)
	for i, row := range setRows {
		if f.code[row] >= 0 {
			cell := strata.at(margin, i)
			rows[next[cell]] = row
			next[cell]++
		}
	}
	for _, cell := range strata.inMargin[margin] {
		own := rows[start[cell]:start[cell+1]]
		each(cell, group{values: none[:len(own)], rows: own, missing: missing[cell]})
	}
}

// level gives the count and the share of one level.
func (s *summariser) level(est rowEstimator, g group, f factor, level int) []line {
	at := func(i int) bool { return int(f.code[g.rows[i]]) == level }
	var here group
	for i, row := range g.rows {
		if at(i) {
			here.values, here.rows = append(here.values, 0), append(here.rows, row)
		}
	}
	return s.levelLines(f, level, est.people(here), est.share(g, at))
}

func (s *summariser) levelLines(f factor, level, people int, share line) []line {
	share.Statistic, share.Unit = "proportion_"+f.levels[level], "1"
	share.Method += " of those with an answer"
	share.Note = join(share.Note, s.est.note())
	count := line{Result: stats.Result{Statistic: "count_" + f.levels[level], Estimate: float64(people), Method: "count", Unit: "1"}}
	return []line{count, share}
}
