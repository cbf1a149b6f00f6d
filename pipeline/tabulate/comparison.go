package tabulate

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/schema/published"
	"tonocohort/stats"
)

// notIndependent is the note where an interval would take visits for persons.
const notIndependent = "no interval: visits of one person are not independent"

// healthySet is the analysis set that published healthy samples are compared with.
const healthySet = "healthy"

// comparer writes the comparison with one published set.
type comparer struct {
	c        *cohort
	frame    *schema.Frame
	settings schema.Settings
	source   published.Set
	set      set
	sex      schema.Labels
	age      []float64 // by row, completed years
	traps    traps
	report   *reporter
	path     string // of the set in the plan
}

// compare sets the cohort beside every published set of the plan. own are the
// study's own, by the name of their file.
func compare(c *cohort, settings schema.Settings, sets []set, own []published.Set, report *reporter) *schema.Frame {
	frame := schema.NewFrame(schema.ComparisonTable(), 0)
	if !c.frame.Has("sex") || !c.frame.Has("age_years") {
		return frame
	}
	age := slices.Clone(c.frame.Numbers("age_years"))
	for row := range age {
		age[row] = math.Floor(age[row])
	}
	for i, name := range settings.Analysis.CompareWith {
		path := fmt.Sprintf("compare_with[%d]", i)
		source, err := published.Among(own, name)
		if err != nil {
			report.note(path, name, "published_set_unreadable", err.Error(), "")
			continue
		}
		p := comparer{c: c, frame: frame, settings: settings, source: source, set: comparedSet(sets, source), sex: c.frame.Labels("sex"), age: age, report: report, path: path}
		p.traps = p.findTraps()
		switch source.Kind {
		case published.Equations:
			p.compareEquations()
		case published.Coefficients:
			p.compareCoefficients()
		case published.Limits:
			p.compareLimits()
		default:
			p.compareMeans()
		}
	}
	return frame
}

// comparedSet is, for a healthy published sample, the healthy set where the plan
// has one; else everyone.
func comparedSet(sets []set, source published.Set) set {
	if source.Selection == healthySet {
		if i := slices.IndexFunc(sets, func(s set) bool { return s.name == healthySet }); i >= 0 {
			return sets[i]
		}
	}
	return sets[0]
}

// numberColumn reports whether the frame has the variable as numbers.
func (p *comparer) numberColumn(variable string) bool {
	return p.c.frame.Has(variable) && p.c.frame.Column(variable).Numeric()
}

// unused notes a published variable that the cohort lacks the columns for.
func (p *comparer) unused(variable, column string) {
	p.report.note(p.path, p.source.Name, "published_column_absent",
		fmt.Sprintf("%s is not compared in full: the study has no column %s", variable, column), "declare it under covariates or derive")
}

// inStratum reports whether a row is of a sex, or of any, and of ages in
// completed years, both ends included.
func (p *comparer) inStratum(row int32, sex string, low, high int) bool {
	if sex != everyLevel && p.sex.At(int(row)) != sex {
		return false
	}
	if low <= 0 && high == math.MaxInt {
		return true // of any age, known or not
	}
	return p.age[row] >= float64(low) && p.age[row] <= float64(high)
}

// equivalence writes the two one-sided tests where the plan has a margin.
func (p *comparer) equivalence(at comparisonRow, d stats.Difference, unit, note string) {
	margin, declared := p.settings.Analysis.Equivalence[at.variable]
	if !declared {
		return
	}
	const alpha = 0.05
	e := d.Equivalent(margin, alpha)
	method := fmt.Sprintf("two one-sided tests, margin ±%s", plain(margin))
	interval := e.Interval
	verdict := fmt.Sprintf("not shown to lie within ±%s", plain(margin))
	if e.P <= alpha {
		verdict = fmt.Sprintf("lies within ±%s", plain(margin))
	}
	if p.c.repeated {
		interval, verdict, e.P = stats.Interval{}, notIndependent, math.NaN()
	}
	p.write(at, stats.Result{Statistic: "equivalence_difference", Estimate: d.Estimate, Method: method, Unit: unit, Note: join(verdict, note)}, interval)
	at.published = math.NaN()
	p.write(at, stats.Result{Statistic: "equivalence_p", Estimate: e.P, Method: method, Unit: "1", Note: join(verdict, note)}, stats.Interval{})
}

// beyond writes which share of values lies beyond a bound.
func (p *comparer) beyond(at comparisonRow, statistic string, hits int, method, note string) {
	interval := stats.Wilson(hits, at.n, confidence)
	if p.c.repeated {
		interval, note = stats.Interval{}, join(notIndependent, note)
	}
	p.write(at, stats.Result{Statistic: statistic, Estimate: float64(hits) / float64(at.n), Method: method, Unit: "1", Note: note}, interval)
}

// alone drops an interval that takes visits for persons.
func (p *comparer) alone(i stats.Interval) stats.Interval {
	if p.c.repeated {
		return stats.Interval{}
	}
	return i
}

// comparisonRow is where a comparison stands.
type comparisonRow struct {
	variable, sex, band    string
	n, missing, publishedN int // publishedN 0: not known
	published              float64
}

func (p *comparer) write(at comparisonRow, r stats.Result, i stats.Interval) {
	r.N, r.Missing = at.n, at.missing
	row := p.frame.AddRow()
	p.frame.SetText(row, "set", p.set.name)
	p.frame.SetText(row, "variable", at.variable)
	p.frame.SetText(row, "published", p.source.Name)
	p.frame.SetText(row, "sex", at.sex)
	p.frame.SetText(row, "age_band", at.band)
	p.frame.SetNumber(row, "published_estimate", at.published)
	if at.publishedN > 0 {
		p.frame.SetNumber(row, "published_n", float64(at.publishedN))
	}
	writeResult(p.frame, row, r, i)
}
