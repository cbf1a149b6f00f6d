package regress

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"tonocohort/stats"
)

// Names of the covariance estimators of quantile regression (Koenker 2005,
// Quantile Regression, 3.4 and 4.10). All rest on the sparsity, the reciprocal of
// the density at the quantile, with the bandwidth of Hall and Sheather 1988 (J R
// Stat Soc B 50:381-91) at the level 0.05.
const (
	QuantileIID    = "iid"    // one sparsity for all observations (Koenker and Bassett 1978)
	QuantileNID    = "nid"    // a density for each observation, from two neighbouring quantiles (Hendricks and Koenker 1992, J Am Stat Assoc 87:58-68)
	QuantileKernel = "kernel" // a density for each observation, from a Gaussian kernel on the residuals (Powell 1991)
)

// errQuantileWeights says what a weighted fit does not offer.
var errQuantileWeights = errors.New("regress: errors of a weighted quantile regression are not available")

// Covariance estimates the covariance matrix of the coefficients by the named
// estimator: QuantileIID, QuantileNID or QuantileKernel. It is not available for
// weighted fits.
func (q *QuantileFit) Covariance(kind string) (*Covariance, error) {
	if q.objectiveWeights != nil {
		return nil, errQuantileWeights
	}
	width := hallSheather(q.Tau, q.N)
	spread := float64(q.Tau * (1 - q.Tau))
	switch kind {
	case QuantileIID:
		sparsity, err := q.sparsity(width)
		if err != nil {
			return nil, err
		}
		m := newSquare(q.Rank)
		for k := range m {
			m[k][k] = float64(spread * float64(sparsity*sparsity))
		}
		return q.covariance(kind, m), nil
	case QuantileNID:
		density, zero, err := q.neighbourDensity(width)
		if err != nil {
			return nil, err
		}
		c, err := q.densityCovariance(kind, density, spread)
		if err == nil && zero > 0 {
			c.Warnings = append(c.Warnings, Warning{Code: WarnDensity,
				Message: fmt.Sprintf("the neighbouring quantiles cross at %d of %d observations, which are left out of the error", zero, q.N)})
		}
		return c, err
	case QuantileKernel:
		return q.densityCovariance(kind, q.kernelDensity(width), spread)
	}
	return nil, fmt.Errorf("regress: no covariance estimator %q for quantile regression", kind)
}

// hallSheather is the bandwidth on the probability scale.
func hallSheather(tau float64, n int) float64 {
	x := stats.NormalQuantile(tau)
	f := normalDensity(x)
	z := stats.NormalQuantile(0.975)
	return math.Pow(float64(n), -1.0/3) * math.Pow(z, 2.0/3) * math.Cbrt(1.5*float64(f*f)/(2*float64(x*x)+1))
}

func normalDensity(x float64) float64 {
	return math.Exp(-float64(x*x)/2) / math.Sqrt(2*math.Pi)
}

// sparsity is the slope of a median regression of the residuals nearest to zero,
// those of the basis left out, on their rank over N − rank.
func (q *QuantileFit) sparsity(width float64) (float64, error) {
	byDistance := slices.Clone(q.Residuals)
	slices.SortStableFunc(byDistance, func(a, b float64) int { return cmp.Compare(math.Abs(a), math.Abs(b)) })
	exact := 0
	for exact < len(byDistance) && math.Abs(byDistance[exact]) < 1e-9 {
		exact++
	}
	count := max(q.Rank+1, int(math.Ceil(float64(float64(q.N)*width)))) + 1
	if exact+count > q.N || q.DF == 0 {
		return 0, fmt.Errorf("regress: %d observations are too few for the sparsity at quantile %g", q.N, q.Tau)
	}
	near := byDistance[exact : exact+count]
	slices.Sort(near)
	rank := make([]float64, count)
	for i := range rank {
		rank[i] = float64(exact+i+1) / float64(q.DF)
	}
	line, err := Quantile(Columns(true, []string{"rank"}, [][]float64{rank}), near, nil, 0.5)
	if err != nil {
		return 0, err
	}
	return line.Coefficients[1], nil
}

// neighbourDensity is the difference of probability over that of the fitted
// quantiles at tau ± width; zero counts observations where they cross.
func (q *QuantileFit) neighbourDensity(width float64) (density []float64, zero int, err error) {
	for q.Tau-width < 0 || q.Tau+width > 1 {
		width /= 2
	}
	density = make([]float64, q.N) // until the last loop the room of the searches
	below, search, err := quantilePlane(q.start, nil, q.Tau-width, q.Basis, density)
	if err != nil {
		return nil, 0, err
	}
	search.release()
	above, search, err := quantilePlane(q.start, nil, q.Tau+width, q.Basis, density)
	if err != nil {
		return nil, 0, err
	}
	search.release()
	const tiny = 1.0 / (1 << 26) // the root of the machine precision: keeps the quotient finite
	crossed := make([]int, chunkCount(q.N))
	inChunks(q.N, func() func(chunk, from, to int) {
		upper, low, r := make([]float64, blockRows), make([]float64, blockRows), q.design.reader()
		return func(chunk, from, to int) {
			blocks(from, to, func(from, to int) {
				part := density[from:to]
				below.residualBlock(r, q.outcome, from, to, part, low)
				above.residualBlock(r, q.outcome, from, to, upper, low)
				for i := range part {
					difference := part[i] - upper[i] // of the fitted quantiles
					part[i] = 0
					if difference > tiny {
						part[i] = 2 * width / (difference - tiny)
					} else {
						crossed[chunk]++
					}
				}
			})
		}
	})
	for _, count := range crossed {
		zero += count
	}
	return density, zero, nil
}

// kernelDensity is a Gaussian kernel at the residuals.
func (q *QuantileFit) kernelDensity(width float64) []float64 {
	for q.Tau-width < 0 || q.Tau+width > 1 {
		width /= 2
	}
	sorted := slices.Clone(q.Residuals)
	slices.Sort(sorted)
	quartiles := stats.Quantile(sorted, 0.75, stats.ModePositions) - stats.Quantile(sorted, 0.25, stats.ModePositions)
	spread := min(math.Sqrt(stats.Variance(q.Residuals)), quartiles/1.34)
	h := (stats.NormalQuantile(q.Tau+width) - stats.NormalQuantile(q.Tau-width)) * spread
	density := sorted // which is done with
	for i, r := range q.Residuals {
		density[i] = normalDensity(r/h) / h
	}
	return density
}

// densityCovariance is spread·F⁻¹·F⁻¹ with F = Σ density·q·qᵀ in orthonormal
// coordinates.
func (q *QuantileFit) densityCovariance(kind string, density []float64, spread float64) (*Covariance, error) {
	inverse, err := q.densityBread(density)
	if err != nil {
		return nil, fmt.Errorf("regress: %s error: the density vanishes: %w", kind, err)
	}
	m := newSquare(q.Rank)
	for _, row := range inverse {
		addOuter(m, row, spread)
	}
	return q.covariance(kind, m), nil
}

// densityBread is F⁻¹.
func (q *QuantileFit) densityBread(density []float64) ([][]float64, error) {
	products := q.weightedProducts(func(_, from int, leverage, e []float64) { copy(e, density[from:from+len(leverage)]) })
	return inverseOf(products)
}

// inverseOf inverts a symmetric positive definite matrix.
func inverseOf(m [][]float64) ([][]float64, error) {
	var factor mat.Cholesky
	if !factor.Factorize(mat.NewSymDense(len(m), slices.Concat(m...))) {
		return nil, errors.New("matrix is not positive definite")
	}
	var inverse mat.SymDense
	if err := factor.InverseTo(&inverse); err != nil {
		return nil, err
	}
	out := newSquare(len(m))
	for i := range out {
		for j := range out {
			out[i][j] = inverse.At(i, j)
		}
	}
	return out, nil
}
