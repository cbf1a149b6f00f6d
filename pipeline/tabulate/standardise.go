package tabulate

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
)

// standardiser writes the table of directly standardised estimates.
type standardiser struct {
	c       *cohort
	est     estimator
	frame   *schema.Frame
	by      factor
	name    string // column of the classes
	columns []string
	shares  []float64 // of the standard population by class; 0 where it has nobody
	method  string
}

// standardise brings means and shares to one composition of classes, so that
// strata of another age are not compared by their age. Strata are those of the
// plan but for the column of the classes.
func standardise(c *cohort, plan schema.Analysis, sets []set) *schema.Frame {
	columns := slices.DeleteFunc(slices.Clone(plan.Strata), func(name string) bool { return name == plan.Standardise.By })
	s := standardiser{c: c, frame: schema.NewFrame(schema.StandardisedTable(columns), 0), name: plan.Standardise.By, columns: columns}
	if s.name == "" {
		return s.frame
	}
	s.est, s.by = c.estimator(), c.factor(s.name)
	s.standard(plan.Standardise)
	for _, set := range sets {
		for _, d := range describedVariables(plan, c.frame.Has) {
			s.variable(set, d)
		}
	}
	return s.frame
}

// standard finds the shares of the standard population.
func (s *standardiser) standard(plan schema.StandardSettings) {
	s.shares = make([]float64, len(s.by.levels))
	if len(plan.Shares) > 0 {
		for i, class := range s.by.levels {
			s.shares[i] = plan.Shares[class]
		}
		s.method = "directly standardised by " + s.name + " to the declared population"
		s.shares = toOne(s.shares)
		return
	}
	for _, row := range s.c.rows {
		if class := int(s.by.code[row]); class >= 0 {
			weight := 1.0
			if s.c.kind == samplingWeights || s.c.kind == frequencyWeights {
				weight = s.c.weight[row]
			}
			s.shares[class] += weight
		}
	}
	s.method = "directly standardised by " + s.name + " to all analysed rows, pooled; their shares taken as known"
	s.shares = toOne(s.shares)
}

func toOne(shares []float64) []float64 {
	total := stats.Sum(shares)
	for i := range shares {
		shares[i] /= total
	}
	return shares
}

// variable standardises the mean of a variable, the shares beyond its bounds,
// or those of its levels.
func (s *standardiser) variable(set set, d described) {
	column := s.c.frame.Column(d.name)
	strata := s.c.newStrata(s.columns, set.rows)
	if column.Kind != schema.Number && column.Kind != schema.Integer {
		f := s.c.factor(d.name)
		classes := s.classes(strata, set.rows, func(row int32) bool { return f.code[row] < 0 })
		for level, name := range f.levels {
			if slices.ContainsFunc(set.rows, func(row int32) bool { return int(f.code[row]) == level }) {
				s.write(set, d, strata, classes, "proportion_"+name, "1", func(row int32) bool { return int(f.code[row]) == level }, nil)
			}
		}
		return
	}
	cells := s.c.frame.Numbers(d.name)
	classes := s.classes(strata, set.rows, func(row int32) bool { return math.IsNaN(cells[row]) })
	if d.full {
		s.write(set, d, strata, classes, "mean", column.Unit, nil, cells)
	}
	for _, b := range d.bounds {
		d.note = join(d.note, b.note)
		s.write(set, d, strata, classes, "prevalence_at_least_"+plain(b.value), "1", func(row int32) bool { return cells[row] >= b.value }, cells)
	}
}

// classes deals the rows with a value out by cell and class; the last class
// holds those without one.
func (s *standardiser) classes(strata *strata, rows []int32, missing func(row int32) bool) [][][]int32 {
	out := make([][][]int32, len(strata.labels))
	for cell := range out {
		out[cell] = make([][]int32, len(s.by.levels)+1)
	}
	for i, row := range rows {
		if missing(row) {
			continue
		}
		class := int(s.by.code[row])
		if class < 0 {
			class = len(s.by.levels)
		}
		for m := range strata.cells {
			cell := strata.at(m, i)
			out[cell][class] = append(out[cell][class], row)
		}
	}
	return out
}

// write standardises one statistic in every cell. Without hit it is the mean.
func (s *standardiser) write(set set, d described, strata *strata, classes [][][]int32, statistic, unit string, hit func(row int32) bool, cells []float64) {
	for cell, byClass := range classes {
		present, empty, n := s.present(byClass, hit, cells)
		estimate, interval := math.NaN(), stats.Interval{}
		if empty == "" {
			estimate, interval = s.est.standardised(present)
		}
		l := line{stats.Result{Statistic: statistic, Estimate: estimate, Method: s.method, Unit: unit, N: n, Missing: strata.size[cell] - n}, interval}
		l.Note = join(d.note, s.lost(empty, len(byClass[len(s.by.levels)])), s.est.note())
		row := s.frame.AddRow()
		s.frame.SetText(row, "set", set.name)
		s.frame.SetText(row, "variable", d.name)
		for k, column := range s.columns {
			s.frame.SetText(row, column, strata.labels[cell][k])
		}
		writeResult(s.frame, row, l.Result, l.interval)
	}
}

// present makes the classes that the standard population has somebody in; empty
// names the first of these in which the cell has nobody.
func (s *standardiser) present(byClass [][]int32, hit func(row int32) bool, cells []float64) (present []class, empty string, n int) {
	for k, rows := range byClass[:len(s.by.levels)] {
		if s.shares[k] == 0 {
			continue
		}
		c := class{group: group{values: make([]float64, len(rows)), rows: rows}, share: s.shares[k]}
		for i, row := range rows {
			if cells != nil {
				c.values[i] = cells[row]
			}
		}
		if hit != nil {
			c.hit = func(i int) bool { return hit(rows[i]) }
		}
		if len(rows) == 0 && empty == "" {
			empty = s.by.levels[k]
		}
		present = append(present, c)
		n += s.est.people(c.group)
	}
	return present, empty, n
}

// lost says why an estimate is missing, and who has no class.
func (s *standardiser) lost(empty string, classless int) string {
	note := ""
	if empty != "" {
		note = fmt.Sprintf("not estimated: nobody in the class %s of %s, which the standard population has", empty, s.name)
	}
	if classless > 0 {
		note = join(note, fmt.Sprintf("%d rows without %s left out", classless, s.name))
	}
	return note
}
