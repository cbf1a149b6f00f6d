package regress

import "fmt"

// ClusterCovariance allows for dependence within clusters: the sums of the
// scores τ − [residual < 0] by cluster between the densities of the named kind,
// QuantileNID or QuantileKernel (Parente and Santos Silva 2016, J Econom Methods
// 5:1-15; from memory). Rows of the basis, fitted exactly, count as the mean of
// both sides. The degrees of freedom are clusters less one. It is not available
// for weighted fits.
func (q *QuantileFit) ClusterCovariance(kind string, cluster []int) (*Covariance, error) {
	if q.objectiveWeights != nil {
		return nil, errQuantileWeights
	}
	if len(cluster) != q.N {
		return nil, lengthError("cluster", len(cluster), q.N)
	}
	groups := grouped(cluster)
	if len(groups) < 2 {
		return nil, fmt.Errorf("regress: %d cluster; errors by cluster need two", len(groups))
	}
	width := hallSheather(q.Tau, q.N)
	var density []float64
	var zero int
	var err error
	switch kind {
	case QuantileNID:
		density, zero, err = q.neighbourDensity(width)
	case QuantileKernel:
		density = q.kernelDensity(width)
	default:
		err = fmt.Errorf("regress: no density %q for errors by cluster", kind)
	}
	if err != nil {
		return nil, err
	}
	bread, err := q.densityBread(density)
	if err != nil {
		return nil, fmt.Errorf("regress: %s error: the density vanishes: %w", kind, err)
	}
	meat := newSquare(q.Rank)
	scores := *q
	scores.working = q.signs()
	scores.eachCluster(groups, func(_ int, score []float64, _, _ [][]float64) {
		addOuter(meat, multiply(bread, score), 1)
	})
	g := float64(len(groups))
	scale(meat, g/(g-1))
	c := q.withDegrees(q.covariance("cluster_"+kind, meat), g-1)
	if zero > 0 {
		c.Warnings = append(c.Warnings, Warning{Code: WarnDensity,
			Message: fmt.Sprintf("the neighbouring quantiles cross at %d of %d observations, whose density counts as zero", zero, q.N)})
	}
	return c, nil
}

// signs returns the scores of the rows.
func (q *QuantileFit) signs() []float64 {
	out := make([]float64, q.N)
	for i, r := range q.Residuals {
		out[i] = q.Tau
		if r < 0 {
			out[i] = q.Tau - 1
		}
	}
	for _, i := range q.Basis {
		out[i] = q.Tau - 0.5
	}
	return out
}
