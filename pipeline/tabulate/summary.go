package tabulate

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
)

// percentiles in the order of their rows.
var percentiles = [...]struct {
	name string
	p    float64
}{{"p5", 0.05}, {"p10", 0.10}, {"p25", 0.25}, {"median", 0.50}, {"p75", 0.75}, {"p90", 0.90}, {"p95", 0.95}}

// referenceLimits enclose the middle 95 %.
var referenceLimits = [...]struct {
	name string
	p    float64
}{{"reference_limit_2.5", 0.025}, {"reference_limit_97.5", 0.975}}

// summariser writes the summary of one variable after the other; one serves
// one goroutine.
type summariser struct {
	c        *cohort
	est      estimator
	memory   *memory
	brief    bool     // what Table 1 shows, and no more
	columns  []string // stratum columns
	quantile stats.QuantileType
}

// place is where the statistics of a group stand in the summary table.
type place struct {
	set, variable, note string
	labels              []string
}

// cellLines are the statistics of one cell.
type cellLines struct {
	lines      []line
	n, missing int
}

func summarise(c *cohort, plan schema.Analysis, sets []set) *schema.Frame {
	frame := schema.NewFrame(schema.SummaryTable(plan.Strata), 0)
	variables := describedVariables(plan, c.frame.Has)
	for _, set := range sets {
		strata := c.newStrata(plan.Strata, set.rows)
		frames := make([]*schema.Frame, len(variables))
		inParallel(len(variables), c.dealtBytes(strata, len(set.rows)), func(number int) func(i int) {
			s := summariser{c: c, est: c.estimator(), memory: c.memory(number), columns: plan.Strata, quantile: stats.QuantileType(plan.QuantileType)}
			return func(i int) {
				frames[i] = schema.NewFrame(frame.Table, 0)
				s.variable(frames[i], set, strata, variables[i])
			}
		})
		for _, f := range frames {
			frame.Append(f)
		}
	}
	return frame
}

// variable writes all cells of a variable.
func (s *summariser) variable(f *schema.Frame, set set, strata *strata, d described) {
	cells := make([]cellLines, len(strata.labels))
	if s.c.frame.Column(d.name).Kind == schema.Number || s.c.frame.Column(d.name).Kind == schema.Integer {
		s.numbers(cells, set, strata, d)
	} else {
		s.levels(cells, set, strata, d.name)
	}
	for cell, l := range cells {
		s.write(f, place{set: set.name, variable: d.name, note: d.note, labels: strata.labels[cell]}, l)
	}
	if d.full && !s.brief && d.name == amplificationRatio {
		s.ratioOfMeans(f, set, strata)
	}
}

// numbers describes a variable of numbers, margin by margin.
func (s *summariser) numbers(cells []cellLines, set set, strata *strata, d described) {
	unit := s.c.frame.Column(d.name).Unit
	s.eachCell(set, strata, d.name, func(cell int, g sampled) {
		out := cellLines{n: g.people(), missing: g.missing()}
		if d.full {
			out.lines = s.describe(g, set.name, d.name)
			for i := range out.lines {
				if out.lines[i].Unit == "" {
					out.lines[i].Unit = unit
				}
			}
		}
		for _, b := range d.bounds {
			out.lines = append(out.lines, s.share(g, b))
		}
		cells[cell] = out
	})
}

// eachCell calls each with every cell of a variable of numbers; what it is given is good
// until it returns.
func (s *summariser) eachCell(set set, strata *strata, name string, each func(cell int, g sampled)) {
	est, byRow := s.est.(rowEstimator)
	if byRow {
		s.memory.dealer.load(set.rows, s.c.frame.Numbers(name))
	} else {
		s.memory.portions.load(s.c.frame, name, set.rows, strata, !s.brief)
	}
	for margin := range strata.cells {
		if byRow {
			s.memory.dealer.deal(strata, margin, set.rows, func(cell int, g group) { each(cell, weighed{est, g}) })
		} else {
			s.memory.portions.unions(strata, margin, func(cell int, u *union) { each(cell, u) })
		}
	}
}

// describe gives n, missing, mean, its error, SD, the percentiles and the
// reference limits of a group.
func (s *summariser) describe(g sampled, set, variable string) []line {
	lines := append(counted(g.people(), g.missing()), g.size()...)
	mean, se, sd := g.means()
	mean.Statistic, se.Statistic, sd.Statistic = "mean", "se", "sd"
	if variable == amplificationRatio {
		mean.Note = join(mean.Note, "mean of the persons' ratios; ratio_of_means is another number")
	}
	lines = append(lines, mean, se, sd)
	if !s.brief {
		geometric := g.geometric()
		geometric.Statistic = "geometric_mean"
		lines = append(lines, geometric)
	}
	for _, q := range percentiles {
		if s.brief && !characteristicStatistic(q.name) {
			continue
		}
		l := g.quantile(q.p, s.quantile, confidence)
		l.Statistic = q.name
		lines = append(lines, l)
	}
	if !s.brief {
		lines = append(lines, s.referenceLimits(g, set)...)
	}
	for i := range lines {
		if lines[i].Method != "count" {
			lines[i].Note = join(lines[i].Note, s.est.note())
		}
	}
	return lines
}

// referenceLimits gives the non-parametric limits of the middle 95 %.
func (s *summariser) referenceLimits(g sampled, set string) []line {
	var lines []line
	for _, q := range referenceLimits {
		l := g.quantile(q.p, stats.MeanPositions, stats.ReferenceLevel)
		l.Statistic = q.name
		if g.people() < stats.ReferenceSize {
			l.Note = join(fmt.Sprintf("fewer than %d people: no reference limit to rely on (CLSI EP28)", stats.ReferenceSize), l.Note)
		}
		if set != healthySet {
			l.Note = join(l.Note, "limits of the set "+set+", which is not selected for health")
		}
		lines = append(lines, l)
	}
	return lines
}

func counted(n, missing int) []line {
	return []line{
		{Result: stats.Result{Statistic: "n", Estimate: float64(n), Method: "count", Unit: "1"}},
		{Result: stats.Result{Statistic: "n_missing", Estimate: float64(missing), Method: "count", Unit: "1"}},
	}
}

// share is the prevalence of values at or above a bound; the values are as
// computed, not rounded.
func (s *summariser) share(g sampled, b bound) line {
	l := g.atLeast(b.value)
	l.Statistic, l.Unit = "prevalence_at_least_"+plain(b.value), "1"
	l.Method += " of unrounded values"
	l.Note = join(b.note, l.Note, s.est.note())
	return l
}

// write adds the rows of a cell with its place and its counts. An interval
// without ends leaves low, high and level missing.
func (s *summariser) write(f *schema.Frame, at place, cell cellLines) {
	for _, l := range cell.lines {
		l.N, l.Missing = cell.n, cell.missing
		l.Note = join(at.note, l.Note)
		row := f.AddRow()
		f.SetText(row, "set", at.set)
		f.SetText(row, "variable", at.variable)
		for k, column := range s.columns {
			f.SetText(row, column, at.labels[k])
		}
		writeResult(f, row, l.Result, l.interval)
	}
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
