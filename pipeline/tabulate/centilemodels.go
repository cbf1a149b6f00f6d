package tabulate

import (
	"fmt"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/centile"
)

// fittedCentiles is a fitted reference with what its tables show, whatever its
// method.
type fittedCentiles struct {
	name      string // of the method, with its degrees of freedom or powers
	reference centile.Reference
	bands     [][]stats.Interval       // by centile and completed year
	notes     func(age float64) string // that belong to the centiles of an age
	curves    func(age float64) []curvePoint
	df        [3]float64 // taken up by median or mean, by spread, by skewness
	facts     []stats.Result
	numbers   []parameter
}

// curvePoint is the value of a curve at an age.
type curvePoint struct {
	stats.Result
	interval stats.Interval
}

// fitSample fits a sample by its declared method.
func fitSample(s oneSex) (*fittedCentiles, error) {
	switch s.plan.Method {
	case schema.CentilesLMS:
		return fitLMS(s)
	case schema.CentilesFractional:
		return fitFractional(s)
	}
	return fitQuantiles(s)
}

func noNotes(float64) string { return "" }

// eachBand gathers the intervals of every declared centile at every year.
func eachBand(s oneSex, ages centile.Ages, band func(age, p, level float64) stats.Interval) [][]stats.Interval {
	out := make([][]stats.Interval, len(s.plan.Centiles))
	for k, percent := range s.plan.Centiles {
		for _, year := range ages.Years() {
			out[k] = append(out[k], band(ages.OfYear(year), percent/100, confidence))
		}
	}
	return out
}

func fitLMS(s oneSex) (*fittedCentiles, error) {
	o := centile.LMSOptions{DF: [3]float64(s.plan.DF), Shift: s.plan.Shift}
	fit, err := centile.FitLMS(s.ages, s.values, o)
	if err != nil {
		return nil, err
	}
	f := &fittedCentiles{
		name:      fmt.Sprintf("%s; df L %s, M %s, S %s", schema.CentilesLMS, plain(o.DF[0]), plain(o.DF[1]), plain(o.DF[2])),
		reference: fit, bands: eachBand(s, fit.Ages, fit.Band), notes: noNotes,
		df: [3]float64{o.DF[1], o.DF[2], o.DF[0]},
	}
	shifted := ""
	if s.plan.Shift != 0 {
		f.name += "; shift " + plain(s.plan.Shift)
		shifted = "of the variable + " + plain(s.plan.Shift)
	}
	f.curves = func(age float64) []curvePoint {
		l, m, spread := fit.At(age)
		bands := fit.CurveBands(age, confidence)
		return []curvePoint{
			{stats.Result{Statistic: "L", Estimate: l, Unit: "1", Note: shifted}, bands[0]},
			{stats.Result{Statistic: "M", Estimate: m, Unit: s.unit, Note: shifted}, bands[1]},
			{stats.Result{Statistic: "S", Estimate: spread, Unit: "1", Note: shifted}, bands[2]},
		}
	}
	for k, name := range []string{"df_L", "df_M", "df_S"} {
		f.facts = append(f.facts, stats.Result{Statistic: name, Estimate: fit.DF[k], Unit: "1"})
	}
	f.facts = append(f.facts, stats.Result{Statistic: "log_likelihood", Estimate: fit.LogLikelihood, Unit: "1"})
	f.numbers = append(ageNumbers(fit.Ages), parameter{name: "variable", statistic: "shift", value: fit.Shift})
	for _, c := range []struct {
		name  string
		curve centile.Curve
	}{{"L", fit.L}, {"M", fit.M}, {"log_S", fit.LogS}} {
		f.numbers = append(f.numbers, curveNumbers(c.name, c.curve)...)
	}
	return f, nil
}

func fitFractional(s oneSex) (*fittedCentiles, error) {
	fit, err := centile.FitFractional(s.ages, s.values, centile.FractionalOptions{Power: *s.plan.Power, Shift: s.plan.Shift})
	if err != nil {
		return nil, err
	}
	f := &fittedCentiles{
		name:      fmt.Sprintf("%s; powers of age: mean %s, SD %s; absolute residuals", schema.CentilesFractional, powers(fit.Mean), powers(fit.SD)),
		reference: fit, bands: eachBand(s, fit.Ages, fit.Band), notes: noNotes,
		// Each power that was picked counts as a parameter.
		df: [3]float64{float64(1 + 2*len(fit.Mean.Powers)), float64(1 + 2*len(fit.SD.Powers)), 0},
	}
	unit, note := s.unit, ""
	if fit.Power != 1 || fit.Shift != 0 {
		unit, note = "", transformation(fit.Fractional)
		f.name += "; " + note
	}
	f.curves = func(age float64) []curvePoint {
		mean, sd := fit.At(age)
		bands := fit.CurveBands(age, confidence)
		return []curvePoint{
			{stats.Result{Statistic: "mean", Estimate: mean, Unit: unit, Note: note}, bands[0]},
			{stats.Result{Statistic: "sd", Estimate: sd, Unit: unit, Note: note}, bands[1]},
		}
	}
	f.numbers = append(ageNumbers(fit.Ages), parameter{name: "variable", statistic: "shift", value: fit.Shift},
		parameter{name: "variable", statistic: "power", value: fit.Power})
	f.numbers = append(f.numbers, polynomialNumbers("mean", fit.Mean)...)
	f.numbers = append(f.numbers, polynomialNumbers("sd", fit.SD)...)
	return f, nil
}

// transformation says what was done to the variable.
func transformation(r centile.Fractional) string {
	if r.Power == 0 {
		return "of ln(variable + " + plain(r.Shift) + ")"
	}
	return "of (variable + " + plain(r.Shift) + ")^" + plain(r.Power)
}

func powers(p centile.Polynomial) string {
	texts := make([]string, len(p.Powers))
	for i, v := range p.Powers {
		texts[i] = plain(v)
	}
	return strings.Join(texts, " and ")
}

func fitQuantiles(s oneSex) (*fittedCentiles, error) {
	var o centile.QuantileOptions
	for _, percent := range s.plan.Centiles {
		o.Levels = append(o.Levels, percent/100)
	}
	if len(s.plan.DF) == 1 {
		o.DF = int(s.plan.DF[0])
	}
	fit, err := centile.FitQuantiles(s.ages, s.values, o)
	if err != nil {
		return nil, err
	}
	var ages []float64
	crossed := 0
	for _, year := range fit.Ages.Years() {
		ages = append(ages, fit.Ages.OfYear(year))
		if fit.Crossed(fit.Ages.OfYear(year)) {
			crossed++
		}
	}
	f := &fittedCentiles{name: fmt.Sprintf("%s; natural spline of %d df", schema.CentilesQuantile, fit.DF), reference: fit,
		curves: func(float64) []curvePoint { return nil }}
	f.notes = func(age float64) string {
		if fit.Crossed(age) {
			return "curves cross at this age: sorted"
		}
		return ""
	}
	if s.noInterval {
		f.bands = eachBand(s, fit.Ages, func(float64, float64, float64) stats.Interval { return stats.Interval{} })
	} else if f.bands, err = fit.Bands(ages, confidence); err != nil {
		return nil, err
	}
	f.facts = []stats.Result{
		{Statistic: "years_with_crossing_curves", Estimate: float64(crossed), Unit: "1", Note: "at these years the curves were sorted"},
		{Statistic: "curves_not_unique", Estimate: float64(len(fit.NonUnique)), Unit: "1", Note: "curves beside which others fit as well"},
	}
	f.numbers = ageNumbers(fit.Ages)
	for k, c := range fit.Curves {
		f.numbers = append(f.numbers, curveNumbers(centile.LevelName(fit.Levels[k]), c)...)
	}
	return f, nil
}
