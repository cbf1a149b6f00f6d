package tabulate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/centile"
)

// CentileTables are the tables of reference centiles.
type CentileTables struct {
	Centiles          *schema.Frame
	CentileParameters *schema.Frame
	CentileFit        *schema.Frame
}

func newCentileTables() CentileTables {
	return CentileTables{
		Centiles:          schema.NewFrame(schema.CentilesTable(), 0),
		CentileParameters: schema.NewFrame(schema.CentileParametersTable(), 0),
		CentileFit:        schema.NewFrame(schema.CentileFitTable(), 0),
	}
}

// frames lists the tables in the order in which they are written.
func (t CentileTables) frames() []*schema.Frame {
	var frames []*schema.Frame
	for _, f := range []*schema.Frame{t.Centiles, t.CentileParameters, t.CentileFit} {
		if f != nil {
			frames = append(frames, f)
		}
	}
	return frames
}

// notHealthy stands beside centiles of everyone.
const notHealthy = "describes everyone in the study, healthy or not: no reference for healthy people"

// oneSex is the people of one sex of whom centiles are made, sorted by age and
// value, so that no digit depends on the order in which they were enrolled.
type oneSex struct {
	plan       schema.CentileSettings
	sex        string
	unit       string
	ages       []float64
	values     []float64
	missing    int    // of the sex in the set, without age or value
	outside    int    // of the sex in the set, outside the declared ages
	note       string // that belongs beside every number
	noInterval bool

	calibration, method string
}

// fitCentiles fits the declared centiles for women and for men; people of any
// other sex are counted.
func fitCentiles(c *cohort, plan schema.Analysis, sets []set) CentileTables {
	t := newCentileTables()
	if !c.frame.Has("sex") || !c.frame.Has("age_years") {
		return t
	}
	for _, declared := range schema.ResolveCentiles(plan.Centiles, setNames(plan)) {
		at := slices.IndexFunc(sets, func(s set) bool { return s.name == declared.Set })
		for _, s := range c.bySex(declared, sets[at].rows) {
			t.add(s)
		}
	}
	return t
}

// bySex parts the rows of a set by sex.
func (c *cohort) bySex(plan schema.CentileSettings, rows []int32) []oneSex {
	sexes := c.factor("sex")
	bySex := make([][]int32, len(sexes.levels))
	for _, row := range rows {
		if code := sexes.code[row]; code >= 0 {
			bySex[code] = append(bySex[code], row)
		}
	}
	var samples []oneSex
	for code, sex := range sexes.levels {
		if fitted := sex == "female" || sex == "male"; fitted || len(bySex[code]) > 0 {
			samples = append(samples, c.oneSex(plan, sex, bySex[code]))
		}
	}
	return samples
}

func (c *cohort) oneSex(plan schema.CentileSettings, sex string, rows []int32) oneSex {
	s := oneSex{plan: plan, sex: sex, unit: c.frame.Column(plan.Variable).Unit, noInterval: c.repeated}
	age, value := c.frame.Numbers("age_years"), c.frame.Numbers(plan.Variable)
	var kept []int32
	for _, row := range rows {
		year := math.Floor(age[row])
		switch {
		case math.IsNaN(year) || math.IsNaN(value[row]):
			s.missing++
		case len(plan.Ages) == 2 && (year < plan.Ages[0] || year > plan.Ages[1]):
			s.outside++
		default:
			kept = append(kept, row)
		}
	}
	slices.SortFunc(kept, func(a, b int32) int {
		return cmp.Or(cmp.Compare(age[a], age[b]), cmp.Compare(value[a], value[b]))
	})
	for _, row := range kept {
		s.ages, s.values = append(s.ages, age[row]), append(s.values, value[row])
	}
	s.calibration, s.method = c.occurring("calibration", kept), c.occurring("central_method", kept)
	if plan.Set == everyone {
		s.note = notHealthy
	}
	if c.repeated {
		s.note = join(s.note, notIndependent)
	}
	if c.kind != "" {
		s.note = join(s.note, "weights are not used: each row counts once")
	}
	return s
}

// Mixed stands between the kinds of calibration or estimator of a reference that
// was made of several.
const Mixed = " and "

// occurring lists the levels of a column among some rows.
func (c *cohort) occurring(name string, rows []int32) string {
	var seen []string
	f := c.factor(name)
	for _, row := range rows {
		if label := f.label(row); label != "" && !slices.Contains(seen, label) {
			seen = append(seen, label)
		}
	}
	slices.Sort(seen)
	return strings.Join(seen, Mixed)
}

// add fits one sample, or says why it is not fitted.
func (t CentileTables) add(s oneSex) {
	n := stats.Result{Statistic: "n", Estimate: float64(len(s.values)), Method: "count", Unit: "1"}
	if s.outside > 0 {
		n.Note = fmt.Sprintf("%d outside the ages %s to %s left out", s.outside, plain(s.plan.Ages[0]), plain(s.plan.Ages[1]))
	}
	var fitted *fittedCentiles
	switch {
	case s.sex != "female" && s.sex != "male":
		n.Note = join(n.Note, "not fitted: people of sex "+s.sex+" are described in the summary")
	case len(s.values) < stats.ReferenceSize:
		n.Note = join(n.Note, fmt.Sprintf("not fitted: %d people are too few; %d of one sex are needed, as for reference limits (EP28)", len(s.values), stats.ReferenceSize))
	default:
		var err error
		if fitted, err = fitSample(s); err != nil {
			n.Note = join(n.Note, "not fitted: "+strings.TrimPrefix(err.Error(), "centile: "))
		}
	}
	row := t.Centiles.AddRow()
	s.fill(t.Centiles, row, n, stats.Interval{})
	if fitted == nil {
		return
	}
	t.addYears(s, fitted)
	t.addParameters(s, fitted)
	t.addGoodness(s, fitted)
}

// fill fills the columns that all three tables have.
func (s oneSex) fill(f *schema.Frame, row int, r stats.Result, i stats.Interval) {
	r.N, r.Missing = len(s.values), s.missing
	r.Note = join(s.note, r.Note)
	f.SetText(row, "set", s.plan.Set)
	f.SetText(row, "variable", s.plan.Variable)
	f.SetText(row, "sex", s.sex)
	writeResult(f, row, r, i)
}

// addYears writes, for each completed year, every centile and the curves that
// they are made of.
func (t CentileTables) addYears(s oneSex, f *fittedCentiles) {
	ages := f.reference.Range()
	years := ages.Years()
	for j, year := range years {
		at := ages.OfYear(year)
		write := func(r stats.Result, i stats.Interval) {
			if s.noInterval {
				i = stats.Interval{}
			}
			r.Method = f.name
			row := t.Centiles.AddRow()
			t.Centiles.SetNumber(row, "age_years", year)
			t.Centiles.SetNumber(row, "evaluated_at_years", at)
			s.fill(t.Centiles, row, r, i)
		}
		for k, percent := range s.plan.Centiles {
			r := stats.Result{Statistic: centile.LevelName(percent / 100), Estimate: f.reference.Centile(at, percent/100), Unit: s.unit}
			r.Note = f.notes(at)
			if math.IsNaN(f.bands[k][j].Low) && !s.noInterval {
				r.Note = join(r.Note, "no interval: too few people of this age for this centile")
			}
			write(r, f.bands[k][j])
		}
		for _, c := range f.curves(at) {
			write(c.Result, c.interval)
		}
	}
}
