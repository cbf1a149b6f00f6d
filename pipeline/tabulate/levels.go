package tabulate

import "tonocohort/stats"

// levels describes a variable of levels: how many people are at each and which
// share of those with an answer, by cell. Every level that is declared or
// occurs in the set has its rows in every cell, so that a zero is seen.
func (s *summariser) levels(cells []cellLines, set set, strata strata, name string) {
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
	rows := make([][]int, len(strata.labels))
	missing := make([]int, len(strata.labels))
	for i, row := range set.rows {
		for m := range strata.cells {
			cell := strata.cells[m][i]
			if f.code[row] < 0 {
				missing[cell]++
			} else {
				rows[cell] = append(rows[cell], row)
			}
		}
	}
	for cell := range cells {
		// Shares need no values, only that there are so many.
		g := group{values: make([]float64, len(rows[cell])), rows: rows[cell], missing: missing[cell]}
		out := cellLines{n: s.est.people(g), missing: g.missing, lines: append(s.counts(g), s.est.size(g)...)}
		for level, there := range shown {
			if there {
				out.lines = append(out.lines, s.level(g, f, level)...)
			}
		}
		cells[cell] = out
	}
}

// level gives the count and the share of one level.
func (s *summariser) level(g group, f factor, level int) []line {
	at := func(i int) bool { return f.code[g.rows[i]] == level }
	share := s.est.share(g, at)
	share.Statistic, share.Unit = "proportion_"+f.levels[level], "1"
	share.Method += " of those with an answer"
	share.Note = join(share.Note, s.est.note())
	var here group
	for i, row := range g.rows {
		if at(i) {
			here.values, here.rows = append(here.values, 0), append(here.rows, row)
		}
	}
	count := line{Result: stats.Result{Statistic: "count_" + f.levels[level], Estimate: float64(s.est.people(here)), Method: "count", Unit: "1"}}
	return []line{count, share}
}
