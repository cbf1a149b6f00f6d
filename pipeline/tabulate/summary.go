package tabulate

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
)

// The ratio whose mean must not be taken for the ratio of the means.
const (
	amplificationRatio = "pp_amplification_ratio"
	brachialPP         = "brachial_pp_mmhg"
	centralPP          = "central_pp_mmhg"
)

// notIndependent is the note where an interval would take visits for persons.
const notIndependent = "no interval: visits of one person are not independent"

// percentiles in the order of their rows.
var percentiles = [...]struct {
	name string
	p    float64
}{{"p5", 0.05}, {"p10", 0.10}, {"p25", 0.25}, {"median", 0.50}, {"p75", 0.75}, {"p90", 0.90}, {"p95", 0.95}}

// summariser writes the summary table.
type summariser struct {
	c        *cohort
	frame    *schema.Frame
	columns  []string // stratum columns
	quantile stats.QuantileType
	ranks    map[rankKey][2]int
}

type rankKey struct {
	n int
	p float64
}

// place is where a statistic stands in the summary table.
type place struct {
	set, variable, unit, note string
	labels                    []string
}

func summarise(c *cohort, plan schema.Analysis, sets []set) *schema.Frame {
	s := summariser{
		c: c, frame: schema.NewFrame(schema.SummaryTable(plan.Strata), 0), columns: plan.Strata,
		quantile: stats.QuantileType(plan.QuantileType), ranks: map[rankKey][2]int{},
	}
	for _, set := range sets {
		strata := c.newStrata(plan.Strata, set.rows)
		for _, d := range describedVariables(plan, c.frame.Has) {
			column := c.frame.Column(d.name)
			groups := c.groups(strata, set.rows, c.frame.Numbers(d.name))
			for cell, g := range groups {
				at := place{set: set.name, variable: d.name, unit: column.Unit, note: d.note, labels: strata.labels[cell]}
				if d.full {
					s.describe(at, g)
				}
				for _, b := range d.bounds {
					s.share(at, g, b)
				}
			}
			if d.full && d.name == amplificationRatio {
				s.ratioOfMeans(set, strata)
			}
		}
	}
	return s.frame
}

// describe writes n, missing, mean, SD and the percentiles of a group.
func (s *summariser) describe(at place, g group) {
	n := len(g.values)
	sample := stats.Describe(g.values)
	s.write(at, g, stats.Result{Statistic: "n", Estimate: float64(n), Method: "count", Unit: "1"}, stats.Interval{})
	s.write(at, g, stats.Result{Statistic: "n_missing", Estimate: float64(g.missing), Method: "count", Unit: "1"}, stats.Interval{})

	mean := stats.Result{Statistic: "mean", Estimate: sample.Mean, Method: "mean", Unit: at.unit}
	interval := stats.MeanInterval(sample, confidence)
	if s.c.repeated {
		var persons int
		_, interval, persons = stats.ClusterMean(g.values, g.person, s.c.persons, confidence)
		mean.Note = fmt.Sprintf("%d visits of %d persons; errors clustered by subject", n, persons)
	}
	if at.variable == amplificationRatio {
		mean.Note = join(mean.Note, "mean of the persons' ratios; ratio_of_means is another number")
	}
	s.write(at, g, mean, interval)
	s.write(at, g, stats.Result{Statistic: "sd", Estimate: sample.SD, Method: "n-1", Unit: at.unit},
		s.independent(stats.StandardDeviationInterval(sample, confidence)))
	for _, q := range percentiles {
		r := stats.Result{Statistic: q.name, Estimate: stats.Quantile(g.values, q.p, s.quantile), Method: s.quantile.Name(), Unit: at.unit}
		ranks := s.rank(n, q.p)
		interval := stats.RankInterval(g.values, ranks[0], ranks[1], confidence)
		if n > 0 && math.IsNaN(interval.Low) {
			r.Note = fmt.Sprintf("no interval: %d values are too few for this percentile", n)
		}
		s.write(at, g, r, s.independent(interval))
	}
}

// rank remembers the ranks of a percentile by the number of values.
func (s *summariser) rank(n int, p float64) [2]int {
	key := rankKey{n, p}
	ranks, known := s.ranks[key]
	if !known {
		ranks[0], ranks[1], _ = stats.OrderStatisticRanks(n, p, confidence)
		s.ranks[key] = ranks
	}
	return ranks
}

// independent passes an interval on that takes rows for independent, or none
// where they are not.
func (s *summariser) independent(i stats.Interval) stats.Interval {
	if s.c.repeated {
		i.Low, i.High, i.Method = math.NaN(), math.NaN(), ""
	}
	return i
}

// share writes the prevalence of values at or above a bound; the values are as
// computed, not rounded.
func (s *summariser) share(at place, g group, b bound) {
	n := len(g.values)
	first, _ := slices.BinarySearch(g.values, b.value)
	hits := n - first
	r := stats.Result{
		Statistic: "prevalence_at_least_" + plain(b.value), Estimate: float64(hits) / float64(n),
		Method: "share of unrounded values", Unit: "1", Note: b.note,
	}
	interval := stats.Wilson(hits, n, confidence)
	if s.c.repeated {
		indicator := make([]float64, n)
		for i := first; i < n; i++ {
			indicator[i] = 1
		}
		_, interval, _ = stats.ClusterMean(indicator, g.person, s.c.persons, confidence)
		interval.Low, interval.High = max(0, interval.Low), min(1, interval.High)
	}
	s.write(at, g, r, interval)
}

// ratioOfMeans writes mean brachial over mean central pulse pressure, by cell.
func (s *summariser) ratioOfMeans(set set, strata strata) {
	c := s.c
	if !c.frame.Has(brachialPP) || !c.frame.Has(centralPP) {
		return
	}
	above, below := c.frame.Numbers(brachialPP), c.frame.Numbers(centralPP)
	type pairs struct{ above, below []float64 }
	cells := make([]pairs, len(strata.labels))
	for i, row := range set.rows {
		if math.IsNaN(above[row]) || math.IsNaN(below[row]) {
			continue
		}
		for m := range strata.cells {
			p := &cells[strata.cells[m][i]]
			p.above = append(p.above, above[row])
			p.below = append(p.below, below[row])
		}
	}
	for cell, p := range cells {
		ratio, interval := stats.RatioOfMeans(p.above, p.below, confidence)
		s.write(place{set: set.name, variable: amplificationRatio, labels: strata.labels[cell]},
			group{values: p.above, missing: strata.size[cell] - len(p.above)},
			stats.Result{Statistic: "ratio_of_means", Estimate: ratio, Method: "mean " + brachialPP + " / mean " + centralPP, Unit: "1",
				Note: "not the mean of the persons' ratios"},
			s.independent(interval))
	}
}

// write adds a row: the result with its place, its counts and its interval. An
// interval without ends leaves low, high and level missing.
func (s *summariser) write(at place, g group, r stats.Result, i stats.Interval) {
	r.N, r.Missing = len(g.values), g.missing
	if s.c.repeated && i.Method == "" && r.Method != "count" {
		r.Note = join(r.Note, notIndependent)
	}
	r.Note = join(at.note, r.Note)
	row := s.frame.AddRow()
	s.frame.SetText(row, "set", at.set)
	s.frame.SetText(row, "variable", at.variable)
	for k, column := range s.columns {
		s.frame.SetText(row, column, at.labels[k])
	}
	writeResult(s.frame, row, r, i)
}

// writeResult fills the columns that every table of statistics has.
func writeResult(f *schema.Frame, row int, r stats.Result, i stats.Interval) {
	method := r.Method
	if i.Method != "" {
		method += "; interval " + i.Method
	}
	f.SetText(row, "statistic", r.Statistic)
	f.SetNumber(row, "estimate", r.Estimate)
	f.SetNumber(row, "n", float64(r.N))
	f.SetNumber(row, "n_missing", float64(r.Missing))
	f.SetText(row, "method", method)
	f.SetText(row, "unit", r.Unit)
	f.SetText(row, "note", r.Note)
	if i.Method != "" && !math.IsNaN(i.Low) && !math.IsNaN(i.High) {
		f.SetNumber(row, "low", i.Low)
		f.SetNumber(row, "high", i.High)
		f.SetNumber(row, "level", i.Level)
	}
}

// join puts notes one after the other.
func join(notes ...string) string {
	out := ""
	for _, note := range notes {
		switch {
		case note == "":
		case out == "":
			out = note
		default:
			out += "; " + note
		}
	}
	return out
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
