package regress

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Names of the covariance estimators that allow for dependence within clusters
// (Liang and Zeger 1986, Biometrika 73:13-22; Cameron and Miller 2015, J Hum
// Resour 50:317-72; Bell and McCaffrey 2002, Surv Methodol 28:169-81).
const (
	CR0         = "CR0"    // sums of residuals by cluster
	CR1         = "CR1"    // CR0 · G/(G − 1) · (N − 1)/(N − rank)
	CR2         = "CR2"    // residuals corrected for leverage; degrees of freedom after Satterthwaite
	DesignBased = "design" // linearised for a sample drawn by strata and clusters
)

// clusterCovariance is CR0, CR1 or CR2.
func (f *Model) clusterCovariance(kind string, cluster []int) (*Covariance, error) {
	if len(cluster) != f.N {
		return nil, lengthError("cluster", len(cluster), f.N)
	}
	groups := grouped(cluster)
	if len(groups) < 2 {
		return nil, fmt.Errorf("regress: %d cluster; errors by cluster need two", len(groups))
	}
	switch kind {
	case CR0, CR1:
		meat := newSquare(f.Rank)
		f.eachCluster(groups, func(_ int, score []float64, _, _ [][]float64) { addOuter(meat, score, 1) })
		if kind == CR1 {
			g := float64(len(groups))
			scale(meat, g/(g-1)*(float64(f.N-1)/float64(f.DF)))
		}
		return f.withDegrees(f.covariance(kind, meat), float64(len(groups)-1)), nil
	case CR2:
		return f.biasReduced(groups), nil
	}
	return nil, fmt.Errorf("regress: no cluster covariance estimator %q", kind)
}

// biasReduced is CR2. With Q the orthonormal factor of the columns and Q_g its
// rows in cluster g, the corrected residuals (I − Q_g·Q_gᵀ)^(−1/2)·e_g enter only
// through Q_gᵀ·e_g, multiplied by (I − M_g)^(−1/2) with M_g = Q_gᵀ·Q_g. Where M_g
// has an eigenvalue of one (a cluster with its own indicator) the inverse is the
// Moore-Penrose one (Pustejovsky and Tipton 2018, J Bus Econ Stat 36:672-83).
func (f *Model) biasReduced(groups [][]int) *Covariance {
	meat := newSquare(f.Rank)
	degrees := make([]satterthwaite, len(f.Names))
	f.eachCluster(groups, func(_ int, score []float64, m, rows [][]float64) {
		root := inverseRootOfRest(m, rows)
		addOuter(meat, multiply(root, score), 1)
		for j, row := range f.transform {
			if row != nil {
				degrees[j].add(multiply(root, row), m)
			}
		}
	})
	c := f.covariance(CR2, meat)
	var few []string
	for j := range degrees {
		if f.transform[j] == nil {
			continue
		}
		c.DF[j] = degrees[j].value()
		if c.DF[j] < 4 {
			few = append(few, f.Names[j])
		}
	}
	if few != nil {
		c.Warnings = append(c.Warnings, Warning{Code: WarnFewClusters, Terms: few,
			Message: "the error rests on fewer than four degrees of freedom; its interval is not to be trusted"})
	}
	return c
}

// satterthwaite gathers the moments of Σ (p_g·ε)² for one coefficient under
// independent errors of equal variance: p_g·p_h = δ_gh·d_g − u_g·u_h.
type satterthwaite struct {
	trace, square float64
	u             [][]float64
}

func (s *satterthwaite) add(b []float64, m [][]float64) {
	u := multiply(m, b)
	d, uu := dot(b, u), dot(u, u)
	s.trace += d - uu
	s.square += float64(d * (d - 2*uu))
	if s.u == nil {
		s.u = newSquare(len(u))
	}
	addOuter(s.u, u, 1)
}

// value is twice the squared mean over the variance.
func (s *satterthwaite) value() float64 {
	square := s.square
	for _, row := range s.u {
		square += dot(row, row)
	}
	return float64(s.trace*s.trace) / square
}

// inverseRootOfRest returns (I − m)^(−1/2) for m = Σ q·qᵀ over the rows of a
// cluster, whose eigenvalues lie between 0 and 1; directions in which I − m
// vanishes are left out. rows may hold the rows, column by column: the
// eigenvalues of few rows are found from their own small matrix.
func inverseRootOfRest(m, rows [][]float64) [][]float64 {
	k := len(m)
	out := newSquare(k)
	for i := range out {
		out[i][i] = 1
	}
	add := func(value float64, vector []float64) { // vector at unit length
		factor := -1.0
		if value <= leverageOne {
			factor = 1/math.Sqrt(1-value) - 1
		}
		addOuter(out, vector, factor)
	}
	if k == 0 || rows == nil || len(rows[0]) >= k {
		values, vectors := eigenOf(m)
		for a, value := range values {
			add(value, vectors[a])
		}
		return out
	}
	gram := newSquare(len(rows[0]))
	for _, column := range rows {
		addOuter(gram, column, 1)
	}
	values, vectors := eigenOf(gram)
	for a, value := range values {
		if value < 1e-300 {
			continue
		}
		vector := make([]float64, k)
		for j := range vector {
			vector[j] = dot(rows[j], vectors[a]) / math.Sqrt(value)
		}
		add(value, vector)
	}
	return out
}

// eigenOf returns eigenvalues and eigenvectors of a symmetric matrix.
func eigenOf(m [][]float64) (values []float64, vectors [][]float64) {
	if len(m) == 1 {
		return m[0], [][]float64{{1}}
	}
	var eigen mat.EigenSym
	if len(m) == 0 || !eigen.Factorize(mat.NewSymDense(len(m), slices.Concat(m...)), true) {
		return nil, nil
	}
	var columns mat.Dense
	eigen.VectorsTo(&columns)
	for a := range m {
		vectors = append(vectors, mat.Col(nil, a, &columns))
	}
	return eigen.Values(nil), vectors
}

// designCovariance is the linearised estimator.
func (f *Model) designCovariance(stratum, cluster []int) (*Covariance, error) {
	if stratum == nil {
		stratum = make([]int, f.N)
	}
	if len(stratum) != f.N || len(cluster) != f.N {
		return nil, lengthError("stratum or cluster", min(len(stratum), len(cluster)), f.N)
	}
	meat := newSquare(f.Rank)
	strata := grouped(stratum)
	clusters := 0
	var single []int
	for _, rows := range strata {
		inside := groupedRows(rows, cluster)
		clusters += len(inside)
		if len(inside) == 1 {
			single = append(single, stratum[rows[0]])
			continue
		}
		n := float64(len(inside))
		scores := make([][]float64, len(inside))
		mean := make([]float64, f.Rank)
		f.eachCluster(inside, func(g int, score []float64, _, _ [][]float64) {
			scores[g] = append([]float64(nil), score...)
			axpy(1/n, score, mean)
		})
		for _, score := range scores {
			axpy(-1, mean, score)
			addOuter(meat, score, n/(n-1))
		}
	}
	if clusters-len(strata) < 1 {
		return nil, fmt.Errorf("regress: %d clusters in %d strata leave no degrees of freedom", clusters, len(strata))
	}
	c := f.withDegrees(f.covariance(DesignBased, meat), float64(clusters-len(strata)))
	if single != nil {
		c.Warnings = append(c.Warnings, Warning{Code: WarnSinglePSU,
			Message: fmt.Sprintf("strata with a single cluster add no variance, which is too little: %v", single)})
	}
	return c, nil
}

func (f *Model) withDegrees(c *Covariance, degrees float64) *Covariance {
	for j := range c.DF {
		if f.transform[j] != nil {
			c.DF[j] = degrees
		}
	}
	return c
}

// eachCluster visits the clusters with their scores Σ q·e, the matrices Σ q·qᵀ
// over their rows and, where these fit into one block, the rows themselves; all
// are reused between visits.
func (f *Model) eachCluster(groups [][]int, visit func(g int, score []float64, products, rows [][]float64)) {
	block, work, r := newBlock(f.Rank, blockRows), newBlock(f.Rank, blockRows), f.design.reader()
	e, ones, scratch := make([]float64, blockRows), make([]float64, blockRows), make([]float64, blockRows)
	for i := range ones {
		ones[i] = 1
	}
	score, products := make([]float64, f.Rank), newSquare(f.Rank)
	for g, rows := range groups {
		clear(score)
		scale(products, 0)
		var q [][]float64
		for part := range slices.Chunk(rows, blockRows) {
			if f.Rank == 0 {
				break
			}
			q = f.inverse.product(f.loadRows(r, block, part), work)
			for i, row := range part {
				e[i] = f.working[row]
				if f.weights != nil {
					e[i] = float64(e[i] * math.Sqrt(f.weights[row]))
				}
			}
			for k := range q {
				score[k] += dot(q[k], e[:len(part)])
			}
			addWeightedProducts(products, q, ones[:len(part)], scratch)
		}
		if len(rows) > blockRows {
			q = nil
		}
		visit(g, score, products, q)
	}
}
