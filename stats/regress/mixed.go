package regress

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// REML is the covariance of a random-intercept model at the estimated variance
// components, with Satterthwaite's degrees of freedom for each coefficient.
const REML = "reml_satterthwaite"

// MixedFit is a linear model with a random intercept by group: the outcome of a
// row is its linear predictor, plus a normal deviation of its group, plus a normal
// error.
type MixedFit struct {
	Model

	Groups        int
	Between       float64 // variance of the group deviations
	Within        float64 // variance of the errors
	BetweenSE     float64 // large-sample errors from the expected information
	WithinSE      float64
	ICC           float64   // Between / (Between + Within): correlation of two rows of a group, given the columns
	GroupEffects  []float64 // predicted deviations, in the order in which the groups first appear
	Residuals     []float64 // outcome − linear predictor − group deviation
	LogLikelihood float64   // restricted, with all constants but that of the columns' scale
	NoBetween     Test      // likelihood ratio test of Between = 0: an even mixture of a point at zero and chi-square with one degree of freedom

	theta     float64        // Between / Within
	variances [2]float64     // of Between and Within …
	together  float64        // … and their covariance
	slopes    [2][][]float64 // derivatives of the covariance of the coefficients by them, in orthonormal coordinates
}

// RandomIntercept fits the model by restricted maximum likelihood (Patterson and
// Thompson 1971, Biometrika 58:545-54): group holds one label per row. At least
// two groups, and one with two rows, are needed. Where the best variance between
// groups is zero a Warning says so.
func RandomIntercept(d *Design, y []float64, group []int) (*MixedFit, error) {
	d, err := checkOutcome(d, y, nil)
	if err != nil {
		return nil, err
	}
	if len(group) != len(y) {
		return nil, lengthError("group", len(group), len(y))
	}
	groups := grouped(group)
	f := &MixedFit{Model: *decompose(d, y, nil), Groups: len(groups)}
	switch {
	case len(groups) < 2:
		return nil, fmt.Errorf("regress: %d group; a random intercept needs two", len(groups))
	case len(groups) == len(y):
		return nil, errors.New("regress: every group has a single row, so its deviation and the error cannot be told apart")
	case f.DF < 2 || f.Rank == 0:
		return nil, errors.New("regress: too few observations for the variance components")
	}
	c := compress(&f.Model, y, groups)
	f.theta = c.maximise()
	s := c.at(f.theta)
	f.r, f.inverse = s.r, s.inverse
	f.coordinates = f.coordinates[:0]
	for k, v := range s.b {
		f.coordinates = append(f.coordinates, doubleDouble{hi: v * f.scales[k]})
	}
	f.takeBack()
	f.Within = s.rss / float64(f.DF)
	f.Between = f.theta * f.Within
	f.ICC = f.theta / (1 + f.theta)
	constant := float64(float64(f.DF) * (1 + math.Log(2*math.Pi)))
	f.LogLikelihood = -(s.criterion + constant) / 2
	if f.theta == 0 {
		f.warn(WarnBoundary, "the variance between groups is estimated as zero", nil, nil)
	}
	ratio := max(c.at(0).criterion-s.criterion, 0)
	f.NoBetween = Test{"no variance between groups", "restricted_likelihood_ratio", ratio, 1, math.NaN(), 1}
	if ratio > 0 {
		f.NoBetween.P = distuv.ChiSquared{K: 1}.Survival(ratio) / 2
	}
	f.information(c, s)
	f.predict(y, groups)
	return f, nil
}

// predict fills in the group deviations and what they leave.
func (f *MixedFit) predict(y []float64, groups [][]int) {
	f.residuals(y)
	f.Residuals = f.working
	for _, rows := range groups {
		var sum float64
		for _, i := range rows {
			sum += f.Residuals[i]
		}
		effect := sum * f.theta / (1 + float64(float64(len(rows))*f.theta))
		for _, i := range rows {
			f.Residuals[i] -= effect
		}
		f.GroupEffects = append(f.GroupEffects, effect)
	}
}

// information fills in the covariance of the variance components: the inverse of
// the expected information, half the traces of P·Vᵢ·P·Vⱼ, where V₁ joins the rows
// of a group, V₂ is the identity and P is what V⁻¹ leaves of the columns.
func (f *MixedFit) information(c *compressed, s *mixedState) {
	means := func(power, order float64) [][]float64 {
		return c.weightedMeans(s, func(n float64) float64 { return math.Pow(n, power) / math.Pow(1+float64(n*s.theta), order) })
	}
	rest := c.withinProducts(s)
	between, within := means(2, 2), means(1, 2)
	addMatrix(within, rest)
	bb := productTrace(between, between) - float64(2*trace(means(3, 3)))
	bw := productTrace(between, within) - float64(2*trace(means(2, 3)))
	ww := productTrace(within, within) - float64(2*(trace(means(1, 3))+trace(rest)))
	for _, n := range c.sizes {
		d := 1 + float64(n*s.theta)
		bb += float64(n*n) / float64(d*d)
		bw += n / float64(d*d)
		ww += n - 1 + 1/float64(d*d)
	}
	f.slopes = [2][][]float64{between, within}
	scale := 2 * float64(f.Within*f.Within) / (float64(bb*ww) - float64(bw*bw))
	f.variances, f.together = [2]float64{scale * ww, scale * bb}, -scale*bw
	f.BetweenSE, f.WithinSE = math.Sqrt(f.variances[0]), math.Sqrt(f.variances[1])
}

// Covariance returns the covariance matrix of the coefficients at the estimated
// variance components; kind is REML. The degrees of freedom are Satterthwaite's
// (Giesbrecht and Burns 1985, Biometrics 41:477-86).
func (f *MixedFit) Covariance(kind string) (*Covariance, error) {
	if kind != REML {
		return nil, fmt.Errorf("regress: no covariance estimator %q for a random intercept", kind)
	}
	m := newSquare(f.Rank)
	for k := range m {
		m[k][k] = f.Within
	}
	c := f.covariance(REML, m)
	for j, row := range f.transform {
		if row == nil {
			continue
		}
		// Derivatives of the variance by the two components.
		g0 := dot(row, multiply(f.slopes[0], row))
		g1 := dot(row, multiply(f.slopes[1], row))
		spread := float64(float64(g0*g0)*f.variances[0]) + float64(2*float64(g0*g1)*f.together) + float64(float64(g1*g1)*f.variances[1])
		c.DF[j] = 2 * float64(c.Matrix[j][j]*c.Matrix[j][j]) / spread
	}
	return c, nil
}

// WithinBetween splits a predictor into the mean of its group and the deviation
// from it, so that change within persons and difference between them get a
// coefficient each.
func WithinBetween(x []float64, group []int) (within, between []float64) {
	within, between = make([]float64, len(x)), make([]float64, len(x))
	for _, rows := range grouped(group) {
		var sum float64
		for _, i := range rows {
			sum += x[i]
		}
		mean := sum / float64(len(rows))
		for _, i := range rows {
			within[i], between[i] = x[i]-mean, mean
		}
	}
	return within, between
}
