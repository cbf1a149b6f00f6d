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
	sex      []string  // by row
	age      []float64 // by row, completed years
	traps    traps
}

// compare sets the cohort beside every published set of the plan.
func compare(c *cohort, settings schema.Settings, sets []set, report *reporter) *schema.Frame {
	frame := schema.NewFrame(schema.ComparisonTable(), 0)
	if !c.frame.Has("sex") || !c.frame.Has("age_years") {
		return frame
	}
	age := slices.Clone(c.frame.Numbers("age_years"))
	for row := range age {
		age[row] = math.Floor(age[row])
	}
	for i, name := range settings.Analysis.CompareWith {
		source, err := published.Open(name)
		if err != nil {
			report.note(fmt.Sprintf("compare_with[%d]", i), name, "published_set_unreadable", err.Error(), "")
			continue
		}
		p := comparer{c: c, frame: frame, settings: settings, source: source, set: comparedSet(sets), sex: c.frame.Texts("sex"), age: age}
		p.traps = p.findTraps()
		p.reportOutside(i, report)
		for _, variable := range p.variables() {
			p.compareVariable(variable)
		}
	}
	return frame
}

// comparedSet is the healthy set where the plan has one, else everyone.
func comparedSet(sets []set) set {
	if i := slices.IndexFunc(sets, func(s set) bool { return s.name == healthySet }); i >= 0 {
		return sets[i]
	}
	return sets[0]
}

// variables lists the published variables that the frame has, in their order.
func (p *comparer) variables() []string {
	var names []string
	for _, v := range p.source.Values {
		if p.c.frame.Has(v.Variable) && p.c.frame.Column(v.Variable).Numeric() && !slices.Contains(names, v.Variable) {
			names = append(names, v.Variable)
		}
	}
	return names
}

// inStratum reports whether a row belongs to the sex and band of v.
func (p *comparer) inStratum(row int, v published.Value) bool {
	return p.sex[row] == v.Sex && p.age[row] >= float64(v.AgeLow) && p.age[row] <= float64(v.AgeHigh)
}

// reportOutside notes how many rows lie in no published stratum.
func (p *comparer) reportOutside(i int, report *reporter) {
	outside := 0
	for _, row := range p.set.rows {
		if !slices.ContainsFunc(p.source.Values, func(v published.Value) bool { return p.inStratum(row, v) }) {
			outside++
		}
	}
	if outside > 0 {
		report.note(fmt.Sprintf("compare_with[%d]", i), p.source.Name, "outside_published_strata",
			fmt.Sprintf("%d of %d rows of the set %s lie in no published stratum (another sex, no age, or an age outside %d to %d years) and are not compared", outside, len(p.set.rows), p.set.name, p.source.AgeLow, p.source.AgeHigh), "")
	}
}

// compareVariable writes each stratum of a variable, then the totals by sex and
// over both.
func (p *comparer) compareVariable(variable string) {
	var totals [3]total
	totals[0].sex, totals[1].sex, totals[2].sex = "female", "male", everyLevel
	unit := p.c.frame.Column(variable).Unit
	for _, v := range p.source.Values {
		if v.Variable != variable {
			continue
		}
		values, missing := p.values(v)
		d := p.stratum(v, unit, values, missing)
		for i := range totals {
			if totals[i].sex == v.Sex || totals[i].sex == everyLevel {
				totals[i].add(v, d, len(values), missing)
			}
		}
	}
	for _, t := range totals {
		p.writeTotal(variable, unit, t)
	}
}

// values returns the cohort's values in a stratum, sorted, and how many are missing.
func (p *comparer) values(v published.Value) (values []float64, missing int) {
	cells := p.c.frame.Numbers(v.Variable)
	for _, row := range p.set.rows {
		switch {
		case !p.inStratum(row, v):
		case math.IsNaN(cells[row]):
			missing++
		default:
			values = append(values, cells[row])
		}
	}
	slices.Sort(values)
	return values, missing
}

// stratum writes mean, SD and the difference of means of one stratum.
func (p *comparer) stratum(v published.Value, unit string, values []float64, missing int) stats.Difference {
	here := stats.Describe(values)
	there := stats.Sample{N: v.N, Mean: v.Mean, SD: v.SD}
	note := p.traps.notes(v.Variable, v, len(values))
	at := comparisonRow{variable: v.Variable, sex: v.Sex, band: v.AgeBand, n: len(values), missing: missing, publishedN: v.N}
	d := stats.WelchDifference(here, there, confidence)
	mean, spread, difference := stats.MeanInterval(here, confidence), stats.StandardDeviationInterval(here, confidence), d.Interval
	if p.c.repeated {
		none := stats.Interval{}
		mean, spread, difference = none, none, none
		note = join(notIndependent, note)
	}
	at.published = v.Mean
	p.write(at, stats.Result{Statistic: "mean", Estimate: here.Mean, Method: "mean", Unit: unit, Note: note}, mean)
	at.published = v.SD
	p.write(at, stats.Result{Statistic: "sd", Estimate: here.SD, Method: "n-1", Unit: unit, Note: note}, spread)
	at.published = v.Mean
	p.write(at, stats.Result{Statistic: "difference_of_means", Estimate: d.Estimate, Method: "cohort − published", Unit: unit, Note: note}, difference)
	return d
}

// total gathers the differences of the strata of one sex, or of all.
type total struct {
	sex          string
	differences  []stats.Difference
	weights      []float64
	n, missing   int
	people       int // published
	suspect, few int // strata left out
}

// add takes a stratum in, unless its published value is suspect or the cohort
// has fewer than two people there.
func (t *total) add(v published.Value, d stats.Difference, n, missing int) {
	switch {
	case v.Suspect():
		t.suspect++
	case math.IsNaN(d.StandardError):
		t.few++
	default:
		t.differences = append(t.differences, d)
		t.weights = append(t.weights, float64(n))
		t.n += n
		t.missing += missing
		t.people += v.N
	}
}

// writeTotal writes the mean difference over strata with the cohort's own
// numbers as weights, so that a cohort of another age is not compared with the
// published mean age.
func (p *comparer) writeTotal(variable, unit string, t total) {
	d := stats.WeightedDifference(t.differences, t.weights, confidence)
	interval := d.Interval
	note := fmt.Sprintf("over %d strata", len(t.differences))
	if t.suspect > 0 {
		note = join(note, fmt.Sprintf("%d suspect published value left out", t.suspect))
	}
	if t.few > 0 {
		note = join(note, fmt.Sprintf("%d strata with fewer than two people left out", t.few))
	}
	if p.c.repeated {
		interval = stats.Interval{}
		note = join(notIndependent, note)
	}
	note = join(note, p.traps.general(variable))
	at := comparisonRow{variable: variable, sex: t.sex, band: everyLevel, n: t.n, missing: t.missing, published: math.NaN(), publishedN: t.people}
	p.write(at, stats.Result{Statistic: "mean_difference_over_strata", Estimate: d.Estimate, Method: "cohort − published, weighted by the cohort's n", Unit: unit, Note: note}, interval)
}

// comparisonRow is where a comparison stands.
type comparisonRow struct {
	variable, sex, band    string
	n, missing, publishedN int
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
	p.frame.SetNumber(row, "published_n", float64(at.publishedN))
	writeResult(p.frame, row, r, i)
}
