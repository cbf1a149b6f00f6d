package tabulate

import (
	"math"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/exact"
)

// portions hold the values of one variable by the cells that all stratum columns make
// together, each sorted, with what they sum to exactly. A cell of a margin is a union of
// some of them, so that nothing is sorted or summed twice, and no sum depends on the
// order in which people stand in the table. The memory is used again for the next
// variable. For people who count once each: weights need their rows.
type portions struct {
	values, spare []float64
	each          []portion
	ranks         map[rankKey][2]int
}

// portion is what one of the cells holds.
type portion struct {
	sorted        []float64 // missing ones left out
	missing       int
	moments, logs exact.Moments // logs of as many as are above zero, or of none
}

type rankKey struct {
	n        int
	p, level float64
}

// portionBytes is the memory of portions of so many rows.
func portionBytes(s *strata, rows int) int {
	const number = 8
	largest := 0
	for _, n := range s.sizeOf {
		largest = max(largest, n)
	}
	return number * (rows + largest)
}

// load takes in the rows of a set, which ascend. Logarithms are summed where they are
// asked for and all values of a cell have one.
func (p *portions) load(f *schema.Frame, name string, rows []int32, s *strata, logs bool) {
	p.values = resized(p.values, len(rows))
	p.each = resized(p.each, len(s.sizeOf))
	from := 0
	for i, n := range s.sizeOf {
		p.each[i] = portion{sorted: p.values[from : from : from+n], missing: n}
		from += n
	}
	at := 0
	f.EachNumbers(func(first int, cells [][]float64) {
		for ; at < len(rows) && int(rows[at]) < first+len(cells[0]); at++ {
			if v := cells[0][int(rows[at])-first]; !math.IsNaN(v) {
				own := &p.each[s.finest[at]]
				own.sorted = append(own.sorted, v+0) // −0 is 0
				own.missing--
			}
		}
	}, name)
	for i := range p.each {
		own := &p.each[i]
		p.spare = resized(p.spare, len(own.sorted))
		sortNumbers(own.sorted, p.spare)
		for _, v := range own.sorted {
			own.moments.Add(v)
		}
		if logs && len(own.sorted) > 0 && own.sorted[0] > 0 {
			for _, v := range own.sorted {
				own.logs.Add(math.Log(v))
			}
		}
	}
}

// unions calls each with the number of a cell of one margin and what it holds, cells
// upwards.
func (p *portions) unions(s *strata, margin int, each func(cell int, u *union)) {
	parts := make([][]int, len(s.labels))
	for i, cell := range s.cells[margin] {
		parts[cell] = append(parts[cell], i)
	}
	for _, cell := range s.inMargin[margin] {
		u := &union{ranks: p.ranks}
		for _, i := range parts[cell] {
			own := &p.each[i]
			u.runs = append(u.runs, own.sorted)
			u.nobody += own.missing
			u.moments.Merge(&own.moments)
			u.logs.Merge(&own.logs)
		}
		each(cell, u)
	}
}

// union is a cell whose people count once each.
type union struct {
	runs          stats.Runs
	nobody        int // rows without a value
	moments, logs exact.Moments
	ranks         map[rankKey][2]int // of order-statistic intervals, as they were found
}

func (u *union) people() int  { return u.moments.N }
func (u *union) missing() int { return u.nobody }
func (u *union) size() []line { return nil }

func (u *union) means() (mean, se, sd line) {
	s := stats.SampleOf(&u.moments)
	mean = line{stats.Result{Estimate: s.Mean, Method: "mean"}, stats.MeanInterval(s, confidence)}
	se = line{Result: stats.Result{Estimate: s.StandardError(), Method: "sd/√n"}}
	sd = line{stats.Result{Estimate: s.SD, Method: "n-1"}, stats.StandardDeviationInterval(s, confidence)}
	return mean, se, sd
}

func (u *union) geometric() line {
	if u.logs.N == 0 || u.logs.N < u.moments.N {
		return noGeometricMean(u.moments.N)
	}
	mean, interval := stats.GeometricMeanInterval(stats.SampleOf(&u.logs), confidence)
	return line{stats.Result{Estimate: mean, Method: "geometric mean"}, interval}
}

func (u *union) quantile(p float64, t stats.QuantileType, level float64) line {
	key := rankKey{u.moments.N, p, level}
	ranks, known := u.ranks[key]
	if !known {
		ranks[0], ranks[1], _ = stats.OrderStatisticRanks(key.n, p, level)
		u.ranks[key] = ranks
	}
	l := line{stats.Result{Estimate: u.runs.Quantile(p, t), Method: t.Name()}, u.runs.RankInterval(ranks[0], ranks[1], level)}
	l.Note = noRankInterval(key.n, l.interval)
	return l
}

func (u *union) atLeast(bound float64) line {
	return sharedBy(u.moments.N-u.runs.Below(bound), u.moments.N)
}
