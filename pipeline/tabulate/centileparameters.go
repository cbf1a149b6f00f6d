package tabulate

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/centile"
	"tonocohort/stats/regress"
)

// Statistics of the table of parameters.
const (
	valueAtKnot   = "value_at_knot"
	powerOfAge    = "power"
	coefficientOf = "coefficient"
)

// parameter is one number of a fitted reference.
type parameter struct {
	name      string
	statistic string
	position  int
	knot      float64 // of value_at_knot
	value     float64
}

func ageNumbers(a centile.Ages) []parameter {
	whole := 0.0
	if a.Whole {
		whole = 1
	}
	return []parameter{
		{name: "ages", statistic: "lowest", value: a.Lowest},
		{name: "ages", statistic: "highest", value: a.Highest},
		{name: "ages", statistic: "completed_years", value: whole},
	}
}

func curveNumbers(name string, c centile.Curve) []parameter {
	var out []parameter
	for i, v := range c.Values {
		out = append(out, parameter{name: name, statistic: valueAtKnot, position: i, knot: c.Knots[i], value: v})
	}
	return out
}

// polynomialNumbers writes the powers from position 1 on, beside their
// coefficients; the coefficient at position 0 is the constant.
func polynomialNumbers(name string, p centile.Polynomial) []parameter {
	out := []parameter{{name: name, statistic: "age_shift", value: p.Shift}, {name: name, statistic: "age_scale", value: p.Scale}}
	for i, v := range p.Coefficients {
		if i > 0 {
			out = append(out, parameter{name: name, statistic: powerOfAge, position: i, value: p.Powers[i-1]})
		}
		out = append(out, parameter{name: name, statistic: coefficientOf, position: i, value: v})
	}
	return out
}

func (t CentileTables) addParameters(s oneSex, f *fittedCentiles) {
	for _, p := range f.numbers {
		row := t.CentileParameters.AddRow()
		r := stats.Result{Statistic: p.statistic, Estimate: p.value, Method: s.plan.Method}
		s.fill(t.CentileParameters, row, r, stats.Interval{})
		t.CentileParameters.SetText(row, "calibration", s.calibration)
		t.CentileParameters.SetText(row, "central_method", s.method)
		t.CentileParameters.SetText(row, "parameter", p.name)
		t.CentileParameters.SetNumber(row, "position", float64(p.position))
		if p.statistic == valueAtKnot {
			t.CentileParameters.SetNumber(row, "age_years", p.knot)
		}
	}
}

// Reference is a reference read back from a table of parameters, with what a new
// value must agree in.
type Reference struct {
	Set, Variable, Sex, Method string
	Calibration, CentralMethod string
	centile.Reference
}

// References reads the references of a centile_parameters table, in its order.
func References(f *schema.Frame) ([]Reference, error) {
	var references []Reference
	for from := 0; from < f.N; {
		to := from + 1
		for to < f.N && sameReference(f, from, to) {
			to++
		}
		text := func(name string) string { return f.TextAt(from, name) }
		r := Reference{Set: text("set"), Variable: text("variable"), Sex: text("sex"), Method: text("method"),
			Calibration: text("calibration"), CentralMethod: text("central_method")}
		var err error
		if r.Reference, err = readReference(f, from, to); err != nil {
			return nil, fmt.Errorf("centile_parameters, %s of %s, %s, %s: %w", r.Variable, r.Set, r.Sex, r.Method, err)
		}
		references = append(references, r)
		from = to
	}
	return references, nil
}

func sameReference(f *schema.Frame, a, b int) bool {
	for _, name := range []string{"set", "variable", "sex", "method", "calibration", "central_method"} {
		if f.TextAt(a, name) != f.TextAt(b, name) {
			return false
		}
	}
	return true
}

// numbers are the rows of one reference, by parameter and statistic in their
// order.
type numbers struct {
	values, knots map[string][]float64
	names         []string // of parameters, in their order
}

func readReference(f *schema.Frame, from, to int) (centile.Reference, error) {
	n := numbers{values: map[string][]float64{}, knots: map[string][]float64{}}
	for row := from; row < to; row++ {
		name := f.TextAt(row, "parameter")
		key := name + " " + f.TextAt(row, "statistic")
		if f.Missing(row, "estimate") {
			return nil, fmt.Errorf("the number %s is missing", key)
		}
		n.values[key] = append(n.values[key], f.Number(row, "estimate"))
		n.knots[key] = append(n.knots[key], f.Number(row, "age_years"))
		if !slices.Contains(n.names, name) {
			n.names = append(n.names, name)
		}
	}
	ages := centile.Ages{Lowest: n.one("ages lowest"), Highest: n.one("ages highest"), Whole: n.one("ages completed_years") == 1}
	if math.IsNaN(ages.Lowest) || !(ages.Highest >= ages.Lowest) {
		return nil, errors.New("the fitted ages are missing")
	}
	switch method := f.TextAt(from, "method"); method {
	case schema.CentilesLMS:
		return n.lms(ages)
	case schema.CentilesFractional:
		return n.fractional(ages)
	case schema.CentilesQuantile:
		return n.quantiles(ages)
	default:
		return nil, fmt.Errorf("unknown method %q", method)
	}
}

// one returns a number that stands alone, else NaN.
func (n numbers) one(key string) float64 {
	if len(n.values[key]) != 1 {
		return math.NaN()
	}
	return n.values[key][0]
}

func (n numbers) curve(name string) (centile.Curve, error) {
	key := name + " " + valueAtKnot
	return centile.NewCurve(n.knots[key], n.values[key])
}

func (n numbers) lms(ages centile.Ages) (centile.Reference, error) {
	r := centile.LMS{Ages: ages, Shift: n.one("variable shift")}
	var failed [3]error
	r.L, failed[0] = n.curve("L")
	r.M, failed[1] = n.curve("M")
	r.LogS, failed[2] = n.curve("log_S")
	if math.IsNaN(r.Shift) {
		return nil, errors.New("the shift is missing")
	}
	return r, errors.Join(failed[:]...)
}

func (n numbers) fractional(ages centile.Ages) (centile.Reference, error) {
	r := centile.Fractional{Ages: ages, Shift: n.one("variable shift"), Power: n.one("variable power")}
	var failed [2]error
	r.Mean, failed[0] = n.polynomial("mean")
	r.SD, failed[1] = n.polynomial("sd")
	if math.IsNaN(r.Shift) || !(r.Power >= 0) {
		return nil, errors.New("shift or power is missing")
	}
	return r, errors.Join(failed[:]...)
}

func (n numbers) polynomial(name string) (centile.Polynomial, error) {
	p := centile.Polynomial{
		FractionalPolynomial: regress.FractionalPolynomial{Powers: n.values[name+" "+powerOfAge], Shift: n.one(name + " age_shift"), Scale: n.one(name + " age_scale")},
		Coefficients:         n.values[name+" "+coefficientOf],
	}
	if math.IsNaN(p.Shift) || !(p.Scale > 0) || len(p.Coefficients) != len(p.Powers)+1 {
		return p, errors.New("numbers of " + name + " are missing")
	}
	return p, nil
}

func (n numbers) quantiles(ages centile.Ages) (centile.Reference, error) {
	r := centile.Quantiles{Ages: ages}
	for _, name := range n.names {
		percent, err := strconv.ParseFloat(strings.TrimPrefix(name, "p"), 64)
		if err != nil || !strings.HasPrefix(name, "p") {
			continue // the ages
		}
		c, err := n.curve(name)
		if err != nil {
			return nil, err
		}
		r.Levels, r.Curves = append(r.Levels, percent/100), append(r.Curves, c)
	}
	if len(r.Curves) == 0 || !slices.IsSorted(r.Levels) {
		return nil, errors.New("the curves are missing or not in their order")
	}
	return r, nil
}
