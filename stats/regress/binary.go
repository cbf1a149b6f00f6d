package regress

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// Names of the regressions of an outcome that is 0 or 1.
const (
	LogisticFamily        = "logistic"         // log odds; exp(coefficient) is an odds ratio
	ModifiedPoissonFamily = "modified_poisson" // log prevalence by Poisson's equations; exp(coefficient) is a prevalence ratio (Zou 2004, Am J Epidemiol 159:702-6)
)

// Information is the covariance from the inverse of Fisher's information.
const Information = "information"

// Limits of the iteration. A Newton step changes the linear predictor of a
// separated row by about one for ever, that of any other row by less and less.
const (
	binaryIterations = 60
	binaryTolerance  = 1e-10 // largest change of a linear predictor at convergence
	separationStep   = 0.5   // a change of this size …
	separationRest   = 1e-6  // … while no row of the wrong direction changes by more than this
)

// BinaryFit is a regression of an outcome that is 0 or 1. Coefficients without a
// finite estimate (separation) are NaN.
type BinaryFit struct {
	Model

	Family        string
	Fitted        []float64 // probability (logistic) or prevalence (modified Poisson, which may exceed 1)
	Deviance      float64
	LogLikelihood float64 // logistic: of the data; modified Poisson: NaN, as its likelihood is not that of the data
	Iterations    int
	Separated     []int // rows whose outcome is predicted perfectly

	prior []float64
}

// Logistic fits the log odds of y = 1 by maximum likelihood. y holds 0 and 1;
// weights may be nil, else each row counts weights[i] > 0 times. Where some
// combination of columns predicts outcomes perfectly no finite estimate exists:
// the coefficients concerned are NaN and a Warning names them and the rows; the
// others are those of the remaining rows.
func Logistic(d *Design, y, weights []float64) (*BinaryFit, error) {
	return fitBinary(LogisticFamily, d, y, weights)
}

// ModifiedPoisson fits the logarithm of the prevalence of y = 1 by the equations
// of Poisson regression. Its errors must be robust: see Covariance.
func ModifiedPoisson(d *Design, y, weights []float64) (*BinaryFit, error) {
	return fitBinary(ModifiedPoissonFamily, d, y, weights)
}

func fitBinary(family string, d *Design, y, weights []float64) (*BinaryFit, error) {
	d, err := checkOutcome(d, y, weights)
	if err != nil {
		return nil, err
	}
	var ones int
	for i, v := range y {
		if v != 0 && v != 1 {
			return nil, fmt.Errorf("regress: outcome %v in row %d is neither 0 nor 1", v, i)
		}
		ones += int(v)
	}
	if ones == 0 || ones == len(y) {
		return nil, errors.New("regress: the outcome is the same in every row")
	}
	f := &BinaryFit{Family: family, prior: weights}
	return f, f.iterate(d, y, float64(ones)/float64(len(y)))
}

// mean returns the fitted mean and its derivative by the linear predictor.
func (f *BinaryFit) mean(predictor float64) (mean, derivative float64) {
	if f.Family == LogisticFamily {
		small := math.Exp(-math.Abs(predictor))
		derivative = small / float64((1+small)*(1+small))
		if predictor > 0 {
			return 1 / (1 + small), derivative
		}
		return small / (1 + small), derivative
	}
	mean = math.Exp(predictor)
	return mean, mean
}

// iterate solves the likelihood equations by weighted least squares, from the
// model that has the intercept alone.
func (f *BinaryFit) iterate(d *Design, y []float64, share float64) error {
	n := len(y)
	total := make([]doubleDouble, len(d.columns)) // coefficients of the fitted columns
	predictor := make([]float64, n)
	if d.intercept {
		start := math.Log(share)
		if f.Family == LogisticFamily {
			start -= math.Log(1 - share)
		}
		total[0].hi = start
		for i := range predictor {
			predictor[i] = start
		}
	}
	weights, working, change := make([]float64, n), make([]float64, n), make([]float64, n)
	deviance := math.Inf(1)
	var active []int
	for f.Iterations = 1; ; f.Iterations++ {
		f.newton(y, predictor, weights, working)
		step := decomposeAs(d, working, weights, active)
		active = step.active
		if step.Rank == 0 {
			return errors.New("regress: no column can be fitted")
		}
		step.refine(working)
		for i := range change {
			change[i] = working[i] - step.working[i]
		}
		part := f.advance(y, predictor, change, &deviance)
		for k, j := range active {
			total[j] = total[j].add(step.coordinates[k].mulFloat(part))
		}
		largest, settled := f.progress(y, change)
		separated := f.Iterations > 8 && largest > separationStep && settled
		if done := part == 1 && largest < binaryTolerance; done || separated || f.Iterations == binaryIterations {
			f.finish(d, active, total, y, predictor)
			if separated {
				f.separation(step, change)
			} else if !done {
				f.warn(WarnIterations, fmt.Sprintf("no convergence in %d iterations", binaryIterations), nil, nil)
			}
			return nil
		}
	}
}

// finish decomposes the columns with the weights of the solution.
func (f *BinaryFit) finish(d *Design, active []int, total []doubleDouble, y, predictor []float64) {
	weights, working := make([]float64, len(y)), make([]float64, len(y))
	f.newton(y, predictor, weights, working)
	f.Model = *decomposeAs(d, working, weights, active)
	f.coordinates = nil
	for _, j := range active {
		f.coordinates = append(f.coordinates, total[j])
	}
	f.takeBack()
	f.outcome, f.working = y, working
	f.Fitted = make([]float64, f.N)
	for i := range y {
		f.Fitted[i], _ = f.mean(predictor[i])
	}
	f.Deviance = f.devianceAt(y, predictor)
	f.LogLikelihood = math.NaN()
	if f.Family == LogisticFamily {
		f.LogLikelihood = -f.Deviance / 2
	}
}

// separation marks the coefficients along whose combination the likelihood rises
// for ever, and the rows that it predicts perfectly.
func (f *BinaryFit) separation(step *Model, change []float64) {
	for i, c := range change {
		if math.Abs(c) > separationStep/10 {
			f.Separated = append(f.Separated, i)
		}
	}
	step.takeBack()
	var names []string
	for j, b := range step.Coefficients {
		size := 1.0
		if !f.design.columns[j].constant() {
			size = 1 / powerOfTwoScale(largestMagnitude(f.design.userColumn(j, f.N)))
		}
		if math.Abs(b)*size > separationStep/10 {
			names = append(names, f.Names[j])
			f.Coefficients[j] = math.NaN()
			f.transform[j] = nil
		}
	}
	f.warn(WarnSeparation, fmt.Sprintf("the outcome of %d of %d rows is predicted perfectly, so these have no finite estimate: %s", len(f.Separated), f.N, strings.Join(names, ", ")), names, f.Separated)
}

// Covariance estimates the covariance matrix of the coefficients: Information
// (logistic only: for modified Poisson it is too large, as an outcome of 0 and 1
// varies less than a Poisson count), or HC0 to HC3. Statistics are normal: the
// degrees of freedom are infinite.
func (f *BinaryFit) Covariance(kind string) (*Covariance, error) {
	var c *Covariance
	switch {
	case kind != Information:
		robust, err := f.heteroscedastic(kind)
		if err != nil {
			return nil, err
		}
		c = robust
	case f.Family == LogisticFamily:
		m := newSquare(f.Rank)
		for k := range m {
			m[k][k] = 1
		}
		c = f.covariance(kind, m)
	default:
		return nil, fmt.Errorf("regress: %s needs robust errors, not %s", f.Family, kind)
	}
	for j := range c.DF {
		if !math.IsNaN(c.DF[j]) {
			c.DF[j] = math.Inf(1)
		}
	}
	return c, nil
}

// ClusterCovariance allows for dependence within clusters, as that of Fit does.
func (f *BinaryFit) ClusterCovariance(kind string, cluster []int) (*Covariance, error) {
	return f.clusterCovariance(kind, cluster)
}

// DesignCovariance is for a sample drawn in strata and clusters, as that of Fit.
func (f *BinaryFit) DesignCovariance(stratum, cluster []int) (*Covariance, error) {
	return f.designCovariance(stratum, cluster)
}

// Ratios returns the table with estimate and interval on the scale of the ratio:
// odds ratios or prevalence ratios. SE, T and P stay those of the logarithm.
func Ratios(table []Coefficient) []Coefficient {
	out := make([]Coefficient, len(table))
	for i, row := range table {
		row.Estimate, row.Low, row.High = math.Exp(row.Estimate), math.Exp(row.Low), math.Exp(row.High)
		out[i] = row
	}
	return out
}
