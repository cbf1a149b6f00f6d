package regress

import (
	"cmp"
	"errors"
	"math"
	"slices"
)

// QuantileRank is the method of RankIntervals.
const QuantileRank = "rank_inversion_iid"

// RankIntervals returns for each coefficient the interval of values that the rank
// score test does not reject (Koenker 1994, in Asymptotic Statistics, 349-59;
// Koenker 2005, Quantile Regression, 3.5.5): errors independent and identically
// distributed, the limits interpolated between the two values of the test
// statistic next to the t quantile with N − rank degrees of freedom. An end where
// the test never rejects is infinite. The cost grows with the square of the number of
// rows; SE, T and P are NaN. It is not available for weighted fits.
func (q *QuantileFit) RankIntervals(level float64) ([]Coefficient, error) {
	if q.objectiveWeights != nil {
		return nil, errQuantileWeights
	}
	if q.DF < 1 {
		return nil, errors.New("regress: no degrees of freedom for rank intervals")
	}
	critical := studentQuantile((1+level)/2, float64(q.DF))
	out := make([]Coefficient, len(q.Names))
	for j := range out {
		nan := math.NaN()
		out[j] = Coefficient{Name: q.Names[j], Term: q.Terms[j], Estimate: q.Coefficients[j], SE: nan, DF: float64(q.DF), T: nan, P: nan, Low: nan, High: nan}
		if q.Aliased[j] {
			continue
		}
		path, err := q.rankPath(j)
		if err != nil {
			return nil, err
		}
		out[j].Low, out[j].High = path.limit(-1, critical), path.limit(1, critical)
	}
	return out, nil
}

// rankPath follows the regression quantile of y − b·x on the other columns as b
// moves: the rank scores are constant between values of b at which a row changes
// sides.
type rankPath struct {
	base  vertex
	x     []float64 // what the other columns leave of the column
	start float64   // the estimate
	scale float64   // standard deviation of Σ x·score under the hypothesis
}

func (q *QuantileFit) rankPath(j int) (*rankPath, error) {
	others := NewDesign(false)
	target := make([]float64, q.N)
	for _, k := range q.active {
		column := make([]float64, q.N)
		for i := range column {
			column[i] = 1
		}
		if !q.design.columns[k].constant() {
			column = q.design.userColumn(k, q.N)
		}
		if k == j {
			target = column
		} else {
			others.Add(q.Names[k], column)
		}
	}
	p := &rankPath{x: target, start: q.Coefficients[j]}
	y := q.outcome
	v := vertex{tau: q.Tau, p: q.Rank - 1, rows: allColumns(q.N), outside: make([]float64, q.Rank-1)}
	if v.p > 0 {
		base := decompose(others, target, nil)
		base.refine(target)
		p.x = base.working
		again := decompose(others, y, nil)
		again.refine(y)
		y = again.working
		search := newQuantileSearch(&QuantileFit{Model: *base, Tau: q.Tau}, y, nil)
		v = *search.activate(v.rows)
		v.outside = make([]float64, v.p)
	}
	p.scale = math.Sqrt(float64(q.Tau*(1-q.Tau)) * dot(p.x, p.x))
	v.y = make([]float64, q.N)
	for i := range v.y {
		v.y[i] = y[i] - float64(p.start*p.x[i])
	}
	v.zero = 1e-10 * norm(y) / math.Sqrt(float64(q.N))
	if v.p > 0 && !v.chooseBasis(nearestFirst(q.Residuals)) {
		return nil, errors.New("regress: the rows do not span the columns")
	}
	if v.descend(searchSteps); !v.converged {
		return nil, errors.New("regress: rank intervals did not reach a start")
	}
	p.base = v
	return p, nil
}

// nearestFirst orders rows by the size of their numbers.
func nearestFirst(x []float64) []int {
	order := allColumns(len(x))
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(math.Abs(x[a]), math.Abs(x[b])) })
	return order
}

// limit walks b from the estimate in the direction sign until the statistic
// passes the critical value.
func (p *rankPath) limit(sign, critical float64) float64 {
	v := p.base
	v.basis, v.side = slices.Clone(v.basis), slices.Clone(v.side)
	v.inBasis, v.y, v.r = slices.Clone(v.inBasis), slices.Clone(v.y), slices.Clone(v.r)
	if !v.settle() {
		return math.NaN()
	}
	b, last := p.start, p.start
	lastStatistic := p.statistic(&v)
	for {
		row, step := p.next(&v, sign)
		if row < 0 {
			return math.Inf(int(sign))
		}
		b += float64(sign * step)
		for i := range v.y {
			v.y[i] -= float64(sign * step * p.x[i])
		}
		p.cross(&v, row)
		statistic := p.statistic(&v)
		if statistic*-sign > critical {
			share := (critical - math.Abs(lastStatistic)) / (math.Abs(statistic) - math.Abs(lastStatistic))
			return last + float64(share*(b-last))
		}
		if statistic != lastStatistic {
			last, lastStatistic = b, statistic
		}
	}
}

// statistic is the standardised rank score of the column.
func (p *rankPath) statistic(v *vertex) float64 {
	var s float64
	for i, side := range v.side {
		if side != 0 {
			s += float64(v.slope(side) * p.x[i])
		}
	}
	for k, i := range v.basis {
		s -= float64(dot(v.pull, v.inverse[k]) * p.x[i])
	}
	return s / p.scale
}

// next returns the first row to change sides when b moves, and how far that is.
func (p *rankPath) next(v *vertex, sign float64) (row int, step float64) {
	change := make([]float64, v.p)
	for k, i := range v.basis {
		axpy(p.x[i], v.inverse[k], change)
	}
	least := 1e-11 * norm(p.x) / math.Sqrt(float64(len(p.x)))
	row, step = -1, math.Inf(1)
	var shifted float64
	for i, side := range v.side {
		if side == 0 {
			continue
		}
		z := sign * (p.x[i] - dot(v.row(i), change))
		if !(z*side > least) {
			continue
		}
		at, symbolic := v.r[i]/z, (v.shift(i)-dot(v.row(i), v.shifts))/z
		if math.Abs(v.r[i]) <= v.zero {
			at = 0
		}
		margin := float64(1e-12 * math.Abs(step))
		if row < 0 || at < step-margin || at <= step+margin && symbolic < shifted {
			row, step, shifted = i, at, symbolic
		}
	}
	return row, step
}

// cross takes a row to the other side. Its score moves by up to one; the basis
// row whose score reaches an end of its range first takes its place.
func (p *rankPath) cross(v *vertex, row int) {
	toward := -v.side[row] // the sign of the change of the score
	leave, share := -1, 1.0
	for k := range v.basis {
		score := -dot(v.pull, v.inverse[k])
		change := -toward * dot(v.row(row), v.inverse[k])
		room := v.tau - score
		if change < 0 {
			room = v.tau - 1 - score
		}
		if change != 0 && room/change < share {
			leave, share = k, max(room/change, 0)
		}
	}
	sides := slices.Clone(v.side)
	sides[row] = toward
	if leave >= 0 {
		change := -toward * dot(v.row(row), v.inverse[leave])
		sides[row], sides[v.basis[leave]] = 0, math.Copysign(1, change)
		v.basis[leave] = row
	}
	v.settle()
	copy(v.side, sides)
	clear(v.pull)
	for i, side := range v.side {
		if side != 0 {
			axpy(v.slope(side), v.row(i), v.pull)
		}
	}
}
