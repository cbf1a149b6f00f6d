package regress

import (
	"fmt"
	"math"

	"tonocohort/stats"
)

// Fit is a least-squares fit.
type Fit struct {
	Model

	RSS              float64 // residual sum of squares (weighted where weights are)
	TSS              float64 // total sum of squares: about the mean with an intercept, about zero without
	Centred          bool    // TSS and R2 are about the mean
	R2, R2Adjusted   float64
	ResidualSD       float64 // NaN without residual degrees of freedom
	F, FDF1, FDF2, P float64 // all coefficients but the intercept together; NaN where it does not exist

	Residuals []float64 // outcome − fitted, not weighted
}

// OLS fits y on the columns of d by least squares. weights may be nil; else row
// i counts weights[i] > 0 times as much (its variance is taken to be σ²/w). An
// error is returned for unequal lengths, missing or infinite numbers and
// weights that are not positive; collinear columns are no error.
func OLS(d *Design, y, weights []float64) (*Fit, error) {
	d, err := checkOutcome(d, y, weights)
	if err != nil {
		return nil, err
	}
	f := &Fit{Model: *decompose(d, y, weights), Centred: d.intercept}
	f.refine(y)
	f.Residuals = f.working
	f.takeBack()
	f.sumsOfSquares(y)
	return f, nil
}

func checkOutcome(d *Design, y, weights []float64) (*Design, error) {
	d, err := d.checked(len(y))
	if err != nil {
		return nil, err
	}
	if i := firstBad(y); i >= 0 {
		return nil, fmt.Errorf("regress: the outcome holds %v in row %d; rows with missing values must be left out before", y[i], i)
	}
	if weights != nil && len(weights) != len(y) {
		return nil, lengthError("weights", len(weights), len(y))
	}
	for i, w := range weights {
		if !(w > 0) || math.IsInf(w, 0) {
			return nil, fmt.Errorf("regress: weight %v in row %d; weights must be positive", w, i)
		}
	}
	return d, nil
}

// sumsOfSquares fills in what follows from the residuals.
func (f *Fit) sumsOfSquares(y []float64) {
	var mean float64
	if f.Centred {
		total := f.totalWeight()
		mean = f.weightedAbout(y, 0) / total
		mean += f.weightedAbout(y, mean) / total
	}
	f.RSS, f.TSS = f.squaresAbout(f.Residuals, 0), f.squaresAbout(y, mean)
	explained := f.sum(func(from, to int) float64 {
		var part float64
		for i := from; i < to; i++ {
			d := (y[i] - mean) - f.Residuals[i]
			if f.weights == nil {
				part += float64(d * d)
			} else {
				part += float64(f.weights[i] * float64(d*d))
			}
		}
		return part
	})
	constant := 0
	if f.Centred {
		constant = 1
	}
	nan := math.NaN()
	f.ResidualSD, f.R2, f.R2Adjusted = nan, nan, nan
	f.F, f.FDF1, f.FDF2, f.P = nan, float64(f.Rank-constant), float64(f.DF), nan
	if f.TSS > 0 {
		f.R2 = explained / (explained + f.RSS)
	}
	if f.DF == 0 {
		return
	}
	f.ResidualSD = math.Sqrt(f.RSS / float64(f.DF))
	f.R2Adjusted = 1 - float64((1-f.R2)*(float64(f.N-constant)/float64(f.DF)))
	if f.FDF1 > 0 {
		f.F = (explained / f.FDF1) / (f.RSS / f.FDF2)
		f.P = stats.FTail(f.F, f.FDF1, f.FDF2)
	}
}

// ClusterCovariance estimates the covariance matrix where outcomes of the same
// cluster depend on each other: cluster holds one label per row. CR0 and CR1
// carry G − 1 degrees of freedom, G being the number of clusters; CR2 carries
// its own for each coefficient. Fewer than two clusters are an error.
func (f *Fit) ClusterCovariance(kind string, cluster []int) (*Covariance, error) {
	return f.clusterCovariance(kind, cluster)
}

// DesignCovariance estimates the covariance matrix for a sample drawn in strata
// and, within them, in clusters (primary sampling units), with weights that are
// inverse sampling probabilities: Taylor linearisation, with replacement at the
// first stage (Binder 1983, Int Stat Rev 51:279-92). stratum may be nil for one
// stratum; a cluster's label counts within its stratum. The degrees of freedom
// are clusters less strata. A stratum with a single cluster adds no variance and
// is named in a Warning.
func (f *Fit) DesignCovariance(stratum, cluster []int) (*Covariance, error) {
	return f.designCovariance(stratum, cluster)
}

// AIC is Akaike's criterion of an unweighted fit with normal errors, their
// variance counted as a parameter (Akaike 1974, IEEE Trans Automat Contr
// 19:716-23; from memory).
func (f *Fit) AIC() float64 {
	n := float64(f.N)
	return float64(n*(math.Log(2*math.Pi*f.RSS/n)+1)) + float64(2*(f.Rank+1))
}
