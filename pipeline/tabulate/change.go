package tabulate

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
)

// pair is two used visits of one person, the earlier first.
type pair struct{ from, to int32 }

// pairing is the pairs of a study, by the visits that they lie between.
type pairing struct {
	from, to string // visit ids, or all of the study's
	pairs    []pair
}

// changer writes the table of change.
type changer struct {
	c       *cohort
	frame   *schema.Frame
	columns []string
	survey  *stats.Survey // rows are those of the earlier visits
	work    *stats.Workspace
	cluster []int32 // by row of the frame: who is not independent
	by      string
}

// change describes the differences between visits of the same people. A pair
// belongs to the sets and strata of its earlier visit. Without a person seen
// twice the table is empty.
func change(c *cohort, plan schema.Analysis) *schema.Frame {
	w := changer{c: c, frame: schema.NewFrame(schema.ChangeTable(plan.Strata), 0), columns: plan.Strata, by: plan.Change.Cluster}
	pairings := c.pairings(plan.Change)
	if len(pairings) == 0 {
		return w.frame
	}
	w.cluster = c.subject
	if w.by != "subject_id" {
		w.cluster = c.numbered(w.by)
	}
	w.survey = stats.NewClusters(w.cluster)
	if c.kind == samplingWeights && c.survey != nil {
		w.survey, w.by = c.survey, "the design's units, sampling weights"
	}
	w.work = w.survey.Workspace()
	for _, name := range setNames(plan) {
		rules := c.conditions(plan.Sets[name])
		for _, p := range pairings {
			p.pairs = slices.DeleteFunc(slices.Clone(p.pairs), func(p pair) bool {
				return firstFailure(rules, p.from) != "" || c.kind != "" && !(c.weight[p.from] > 0)
			})
			w.pairing(name, p, plan)
		}
	}
	return w.frame
}

// pairings finds the pairs that the plan wants: of named visits each with the
// next, else of the visits of each person in their order. Beside all pairs
// those between two named visits stand by themselves where there are several.
func (c *cohort) pairings(s schema.ChangeSettings) []pairing {
	if s.Between == "none" && len(s.Visits) == 0 {
		return nil
	}
	all := pairing{from: everyLevel, to: everyLevel}
	ids := c.frame.Labels("visit_id")
	order := c.visitOrders()
	for rows := range c.byPerson(c.everyUsed) {
		if len(rows) < 2 {
			continue
		}
		ordered := slices.SortedFunc(slices.Values(rows), order(rows).compare)
		if len(s.Visits) > 0 {
			ordered = named(ordered, ids, s.Visits)
		} else if s.Between == "first_last" {
			ordered = []int32{ordered[0], ordered[len(ordered)-1]}
		}
		for i := 1; i < len(ordered); i++ {
			if ordered[i-1] >= 0 && ordered[i] >= 0 {
				all.pairs = append(all.pairs, pair{ordered[i-1], ordered[i]})
			}
		}
	}
	if len(all.pairs) == 0 {
		return nil
	}
	between := map[[2]string][]pair{}
	for _, p := range all.pairs {
		key := [2]string{ids.At(int(p.from)), ids.At(int(p.to))}
		between[key] = append(between[key], p)
	}
	keys := make([][2]string, 0, len(between))
	for key := range between {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(a, b [2]string) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	pairings := []pairing{all}
	if len(keys) > mostPairings {
		return pairings
	}
	for _, key := range keys {
		pairings = append(pairings, pairing{key[0], key[1], between[key]})
	}
	return pairings
}

// mostPairings is how many pairs of visit ids have rows of their own; ids that
// are dates, for one, would make as many as there are persons.
const mostPairings = 20

// named puts the rows into the order of the visits, −1 where a person has none.
func named(rows []int32, ids schema.Labels, visits []string) []int32 {
	out := make([]int32, len(visits))
	for i, visit := range visits {
		out[i] = -1
		for _, row := range rows {
			if ids.At(int(row)) == visit {
				out[i] = row
			}
		}
	}
	return out
}

func (w *changer) pairing(set string, p pairing, plan schema.Analysis) {
	from := make([]int32, len(p.pairs))
	for i, pair := range p.pairs {
		from[i] = pair.from
	}
	strata := w.c.newStrata(w.columns, from)
	for _, d := range describedVariables(plan, w.c.frame.Has) {
		column := w.c.frame.Column(d.name)
		if !d.full || column.Kind != schema.Number && column.Kind != schema.Integer {
			continue
		}
		cells := w.c.frame.Numbers(d.name)
		for cell, pairs := range w.dealPairs(strata, p.pairs, cells) {
			for _, l := range w.describe(pairs, cells, column.Unit) {
				l.N, l.Missing = len(pairs), strata.size[cell]-len(pairs)
				l.Note = join(d.note, l.Note)
				w.write(set, d.name, p, strata.labels[cell], l)
			}
		}
	}
}

// dealPairs gives the pairs with both values to their cells.
func (w *changer) dealPairs(s *strata, pairs []pair, cells []float64) [][]pair {
	out := make([][]pair, len(s.labels))
	for i, p := range pairs {
		if math.IsNaN(cells[p.from]) || math.IsNaN(cells[p.to]) {
			continue
		}
		for m := range s.cells {
			cell := s.at(m, i)
			out[cell] = append(out[cell], p)
		}
	}
	return out
}

// describe gives the change of the pairs of one cell.
func (w *changer) describe(pairs []pair, cells []float64, unit string) []line {
	n := len(pairs)
	rows, change, before, after := make([]int32, n), make([]float64, n), make([]float64, n), make([]float64, n)
	persons := map[int32]bool{}
	for i, p := range pairs {
		rows[i], before[i], after[i] = p.from, cells[p.from], cells[p.to]
		change[i] = after[i] - before[i]
		persons[w.c.subject[p.from]] = true
	}
	method := func(what string) string { return what + ", errors clustered by " + w.by }
	mean := w.survey.Mean(w.work, rows, change)
	note := ""
	if n > 0 {
		note = fmt.Sprintf("%d pairs of %d persons; %.0f degrees of freedom", n, len(persons), mean.Degrees)
	}
	lines := []line{
		{Result: stats.Result{Statistic: "n_pairs", Estimate: float64(n), Method: "count", Unit: "1"}},
		{Result: stats.Result{Statistic: "n_persons", Estimate: float64(len(persons)), Method: "count", Unit: "1"}},
		{stats.Result{Statistic: "mean_change", Estimate: mean.Value, Method: method("mean of later − earlier"), Unit: unit, Note: note}, mean.Interval(confidence)},
		{Result: stats.Result{Statistic: "se_change", Estimate: mean.SE, Method: method("standard error of the mean change"), Unit: unit}},
		{Result: stats.Result{Statistic: "sd_change", Estimate: math.Sqrt(w.survey.Variance(w.work, rows, change).Value), Method: "root of the variance of the changes", Unit: unit}},
		{Result: stats.Result{Statistic: "mean_earlier", Estimate: w.survey.Mean(w.work, rows, before).Value, Method: "mean of the pairs", Unit: unit}},
		{Result: stats.Result{Statistic: "mean_later", Estimate: w.survey.Mean(w.work, rows, after).Value, Method: "mean of the pairs", Unit: unit}},
	}
	return append(lines, w.time(pairs, rows)...)
}

// time gives the years between the visits, where the ages tell.
func (w *changer) time(pairs []pair, rows []int32) []line {
	if !w.c.frame.Has("age_years") {
		return nil
	}
	ages := w.c.frame.Numbers("age_years")
	var years []float64
	var dated []int32
	for i, p := range pairs {
		if y := ages[p.to] - ages[p.from]; !math.IsNaN(y) {
			years, dated = append(years, y), append(dated, rows[i])
		}
	}
	l := line{Result: stats.Result{Statistic: "mean_years_between", Estimate: w.survey.Mean(w.work, dated, years).Value, Method: "mean difference of age_years", Unit: "years"}}
	if len(dated) < len(pairs) {
		l.Note = fmt.Sprintf("of %d pairs with both ages", len(dated))
	}
	return []line{l}
}

func (w *changer) write(set, variable string, p pairing, labels []string, l line) {
	row := w.frame.AddRow()
	w.frame.SetText(row, "set", set)
	w.frame.SetText(row, "variable", variable)
	w.frame.SetText(row, "from_visit", p.from)
	w.frame.SetText(row, "to_visit", p.to)
	for k, column := range w.columns {
		w.frame.SetText(row, column, labels[k])
	}
	writeResult(w.frame, row, l.Result, l.interval)
}
