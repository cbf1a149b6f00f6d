package tabulate

import (
	"math"
	"slices"
	"strconv"

	"tonocohort/stats/impute"
	"tonocohort/stats/regress"
)

// result answers what the tables ask of a model: from its one fit, or from the
// fits of several completed copies by Rubin's rules.
type result struct {
	solution            // of the first copy, or the only one
	copies   []solution // nil unless values were imputed
}

// newResult joins the fits of the copies; one alone was not imputed.
func newResult(fits []solution) result {
	r := result{solution: fits[0]}
	if len(fits) > 1 {
		r.copies = fits
		r.method += "; pooled over " + strconv.Itoa(len(fits)) + " imputations (Rubin, Barnard and Rubin)"
	}
	return r
}

func (r result) imputed() bool { return r.copies != nil }

// errorsOf finds the covariance of a fit by its name in the table.
func (s solution) errorsOf(name string) *regress.Covariance {
	for _, e := range s.all {
		if e.name == name {
			return e.Covariance
		}
	}
	return nil
}

// missingCoefficient is one that could not be pooled.
func missingCoefficient(name string) regress.Coefficient {
	nan := math.NaN()
	return regress.Coefficient{Name: name, Estimate: nan, SE: nan, DF: nan, T: nan, P: nan, Low: nan, High: nan}
}

// pooled combines one number of every copy; fmi is the fraction of missing
// information.
func pooled(name string, each []regress.Coefficient) (c regress.Coefficient, fmi float64) {
	estimates, variances := make([]float64, len(each)), make([]float64, len(each))
	degrees := math.Inf(1)
	for i, e := range each {
		estimates[i], variances[i] = e.Estimate, float64(e.SE*e.SE)
		degrees = min(degrees, e.DF) // NaN stays NaN
	}
	p, err := impute.Pool(estimates, variances, degrees, confidence)
	if err != nil {
		return missingCoefficient(name), math.NaN()
	}
	return regress.Coefficient{Name: name, Term: each[0].Term, Estimate: p.Estimate, SE: p.SE, DF: p.DF, T: p.T, P: p.P, Low: p.Low, High: p.High}, p.FMI
}

// table is the coefficients with the named errors, and of imputed data the
// fraction of missing information of each.
func (r result) table(errors string) (table []regress.Coefficient, fmi []float64) {
	if !r.imputed() {
		return r.CoefficientTable(r.errorsOf(errors), confidence), nil
	}
	var each [][]regress.Coefficient
	for _, s := range r.copies {
		c := s.errorsOf(errors)
		if c == nil {
			each = nil
			break
		}
		each = append(each, s.CoefficientTable(c, confidence))
	}
	for j, name := range r.Names {
		if each == nil {
			table, fmi = append(table, missingCoefficient(name)), append(fmi, math.NaN())
			continue
		}
		one := make([]regress.Coefficient, len(each))
		for i := range each {
			one[i] = each[i][j]
		}
		c, f := pooled(name, one)
		table, fmi = append(table, c), append(fmi, f)
	}
	return table, fmi
}

// wald tests that some coefficients are all zero, with the errors that make the
// intervals.
func (r result) wald(term string, columns []int) regress.Test {
	if !r.imputed() {
		return r.Wald(r.main.Covariance, term, columns)
	}
	columns = slices.DeleteFunc(slices.Clone(columns), func(j int) bool {
		return slices.ContainsFunc(r.copies, func(s solution) bool { return s.Aliased[j] })
	})
	var estimates [][]float64
	var covariances [][][]float64
	for _, s := range r.copies {
		b, v := make([]float64, len(columns)), make([][]float64, len(columns))
		for a, j := range columns {
			b[a] = s.Coefficients[j]
			for _, k := range columns {
				v[a] = append(v[a], s.main.Matrix[j][k])
			}
		}
		estimates, covariances = append(estimates, b), append(covariances, v)
	}
	nan := math.NaN()
	test := regress.Test{Name: term, Statistic: nan, DF1: float64(len(columns)), DF2: nan, P: nan}
	if len(columns) == 0 {
		return test
	}
	if joint, err := impute.Joint(estimates, covariances); err == nil {
		test.Statistic, test.DF2, test.P = joint.F, joint.DF2, joint.P
	}
	return test
}

// combination estimates a linear combination of the coefficients.
func (r result) combination(term string, weights []float64) regress.Coefficient {
	if !r.imputed() {
		return r.Combination(r.main.Covariance, term, weights, confidence)
	}
	each := make([]regress.Coefficient, len(r.copies))
	for i, s := range r.copies {
		each[i] = s.Combination(s.main.Covariance, term, weights, confidence)
	}
	c, _ := pooled(term, each)
	return c
}

// mean averages a number over the copies.
func (r result) mean(of func(s solution) float64) float64 {
	if !r.imputed() {
		return of(r.solution)
	}
	total := 0.0
	for _, s := range r.copies {
		total += of(s) / float64(len(r.copies))
	}
	return total
}
