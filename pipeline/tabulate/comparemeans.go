package tabulate

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/schema/published"
	"tonocohort/stats"
)

// compareMeans sets means and standard deviations beside published ones.
func (p *comparer) compareMeans() {
	p.reportOutside()
	for _, variable := range p.variables() {
		p.compareVariable(variable)
	}
}

// variables lists the published variables that the frame has, in their order.
func (p *comparer) variables() []string {
	var names []string
	for _, v := range p.source.Values {
		if p.numberColumn(v.Variable) && !slices.Contains(names, v.Variable) {
			names = append(names, v.Variable)
		}
	}
	return names
}

// reportOutside notes how many rows lie in no published stratum.
func (p *comparer) reportOutside() {
	outside := 0
	for _, row := range p.set.rows {
		if !slices.ContainsFunc(p.source.Values, func(v published.Value) bool { return p.inStratum(row, v.Sex, v.AgeLow, v.AgeHigh) }) {
			outside++
		}
	}
	if outside > 0 {
		p.report.note(p.path, p.source.Name, "outside_published_strata",
			fmt.Sprintf("%d of %d rows of the set %s lie in no published stratum (another sex, no age, or an age outside %d to %d years) and are not compared", outside, len(p.set.rows), p.set.name, p.source.AgeLow, p.source.AgeHigh), "")
	}
}

// compareVariable writes each stratum of a variable, then the totals by sex and
// over both.
func (p *comparer) compareVariable(variable string) {
	totals := []total{{sex: "female"}, {sex: "male"}, {sex: everyLevel}}
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
		if t.strata > 0 {
			p.writeTotal(variable, unit, t)
		}
	}
}

// values returns the cohort's values in a stratum, sorted, and how many are missing.
func (p *comparer) values(v published.Value) (values []float64, missing int) {
	cells := p.c.frame.Numbers(v.Variable)
	for _, row := range p.set.rows {
		switch {
		case !p.inStratum(row, v.Sex, v.AgeLow, v.AgeHigh):
		case math.IsNaN(cells[row]):
			missing++
		default:
			values = append(values, cells[row])
		}
	}
	slices.Sort(values)
	return values, missing
}

// exact is the interval of a difference from a published mean of which nobody
// said how many people are behind it.
const exactPublished = "t; published mean taken as exact, its n is not known"

// stratum writes mean, SD, their comparison with the published ones, and who
// lies beyond the published middle 95 %.
func (p *comparer) stratum(v published.Value, unit string, values []float64, missing int) stats.Difference {
	here := stats.Describe(values)
	there := stats.Sample{N: v.N, Mean: v.Mean, SD: v.SD}
	note := p.traps.notes(v.Variable, v, len(values))
	at := comparisonRow{variable: v.Variable, sex: v.Sex, band: v.AgeBand, n: len(values), missing: missing, publishedN: v.N}
	d := stats.WelchDifference(here, there, confidence)
	ratio, spreadRatio := stats.StandardDeviationRatio(here, there, confidence)
	if v.N == 0 {
		d = stats.Difference{Estimate: here.Mean - v.Mean, StandardError: here.StandardError(), Degrees: float64(here.N - 1)}
		d.Interval = stats.MeanInterval(here, confidence)
		d.Low, d.High, d.Method = d.Low-v.Mean, d.High-v.Mean, exactPublished
		spreadRatio = stats.Interval{}
	}
	repeated := ""
	if p.c.repeated {
		repeated = notIndependent
	}
	note = join(repeated, note)
	at.published = v.Mean
	p.write(at, stats.Result{Statistic: "mean", Estimate: here.Mean, Method: "mean", Unit: unit, Note: note}, p.alone(stats.MeanInterval(here, confidence)))
	at.published = v.SD
	p.write(at, stats.Result{Statistic: "sd", Estimate: here.SD, Method: "n-1", Unit: unit, Note: note}, p.alone(stats.StandardDeviationInterval(here, confidence)))
	at.published = v.Mean
	p.write(at, stats.Result{Statistic: "difference_of_means", Estimate: d.Estimate, Method: "cohort − published", Unit: unit, Note: note}, p.alone(d.Interval))
	at.published = v.SD
	p.write(at, stats.Result{Statistic: "ratio_of_sds", Estimate: ratio, Method: "cohort / published", Unit: "1", Note: note}, p.alone(spreadRatio))
	at.published = v.Mean
	p.equivalence(at, d, unit, note)
	p.beyondMeans(at, v, values, note)
	return d
}

// middle is how many SDs on either side enclose the middle 95 % of a normal
// distribution.
const middle = 1.959963984540054

// beyondMeans writes the shares outside mean ± 1.96 SD.
func (p *comparer) beyondMeans(at comparisonRow, v published.Value, values []float64, note string) {
	low, high := v.Mean-float64(middle*v.SD), v.Mean+float64(middle*v.SD)
	below, _ := slices.BinarySearch(values, low)
	above := 0
	for _, x := range values {
		if x > high {
			above++
		}
	}
	const method = "published mean ± 1.96 SD, as if normal"
	at.published = low
	p.beyond(at, "share_below_published_2.5", below, method, note)
	at.published = high
	p.beyond(at, "share_above_published_97.5", above, method, note)
}

// total gathers the differences of the strata of one sex, or of all.
type total struct {
	sex          string
	strata       int
	differences  []stats.Difference
	weights      []float64
	n, missing   int
	people       int  // published
	unknown      bool // of some stratum the published n is not known
	suspect, few int  // strata left out
}

// add takes a stratum in, unless its published value is suspect or the cohort
// has fewer than two people there.
func (t *total) add(v published.Value, d stats.Difference, n, missing int) {
	t.strata++
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
		t.unknown = t.unknown || v.N == 0
	}
}

// writeTotal writes the mean difference over strata with the cohort's own
// numbers as weights, so that a cohort of another age is not compared with the
// published mean age.
func (p *comparer) writeTotal(variable, unit string, t total) {
	d := stats.WeightedDifference(t.differences, t.weights, confidence)
	note := fmt.Sprintf("over %d strata", len(t.differences))
	if t.suspect > 0 {
		note = join(note, fmt.Sprintf("%d suspect published value left out", t.suspect))
	}
	if t.few > 0 {
		note = join(note, fmt.Sprintf("%d strata with fewer than two people left out", t.few))
	}
	if t.unknown {
		note = join(note, "published means taken as exact, their n is not known")
	}
	if p.c.repeated {
		note = join(notIndependent, note)
	}
	note = join(note, p.traps.general(variable))
	at := comparisonRow{variable: variable, sex: t.sex, band: everyLevel, n: t.n, missing: t.missing, published: math.NaN(), publishedN: t.people}
	p.write(at, stats.Result{Statistic: "mean_difference_over_strata", Estimate: d.Estimate, Method: "cohort − published, weighted by the cohort's n", Unit: unit, Note: note}, p.alone(d.Interval))
	p.equivalence(at, d, unit, note)
}
