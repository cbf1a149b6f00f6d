package impute

import (
	"cmp"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
)

// regressionData is the model of one variable: the columns of the others, the
// rows where it is observed and those where it is missing.
type regressionData struct {
	columns  []column
	observed rowsBut
	missing  []int32
	room     *room
}

const gatherRows = 512

// gather fills block with the columns at rows behind a leading one.
func (p regressionData) gather(rows []int32, block [][]float64) {
	for i := range rows {
		block[0][i] = 1
	}
	for j, column := range p.columns {
		column.gather(rows, block[j+1])
	}
}

// products are Σ w·x·xᵀ and Σ x·z, x with a leading one.
type products struct {
	gram [][]float64
	xz   []float64
}

func newProducts(k int) products { return products{square(k), make([]float64, k)} }

// add adds a block of n rows; w is nil for ones, weighted is room.
func (p products) add(block [][]float64, n int, w, z, weighted []float64) {
	for a := range p.xz {
		left := block[a][:n]
		p.xz[a] += inner(left, z[:n])
		if w != nil {
			for i := range n {
				weighted[i] = float64(left[i] * w[i])
			}
			left = weighted[:n]
		}
		for b := range a + 1 {
			p.gram[a][b] += inner(left, block[b][:n])
		}
	}
}

// mirror completes the upper half of gram.
func (p products) mirror() {
	for a := range p.gram {
		for b := range a {
			p.gram[b][a] = p.gram[a][b]
		}
	}
}

// inner is a scalar product in four interleaved sums.
func inner(a, b []float64) float64 {
	var s0, s1, s2, s3 float64
	b = b[:len(a)]
	i := 0
	for ; i+4 <= len(a); i += 4 {
		s0 += float64(a[i] * b[i])
		s1 += float64(a[i+1] * b[i+1])
		s2 += float64(a[i+2] * b[i+2])
		s3 += float64(a[i+3] * b[i+3])
	}
	for ; i < len(a); i++ {
		s0 += float64(a[i] * b[i])
	}
	return (s0 + s1) + (s2 + s3)
}

func square(n int) [][]float64 {
	m := make([][]float64, n)
	flat := make([]float64, n*n)
	for i := range m {
		m[i] = flat[i*n : (i+1)*n]
	}
	return m
}

// cholesky is the lower triangle l of m = l·lᵀ. A column that the earlier ones
// determine gets an empty one, and its coefficient becomes zero.
type cholesky struct {
	l    [][]float64
	used []bool
	rank int
}

// dependent is the share of a column's length that must be left of it beside the
// earlier ones.
const dependent = 1e-9

func factorise(m [][]float64) cholesky {
	k := len(m)
	c := cholesky{l: square(k), used: make([]bool, k)}
	for j := range k {
		rest := m[j][j]
		for a := range j {
			rest -= float64(c.l[j][a] * c.l[j][a])
		}
		if !(rest > dependent*m[j][j]) {
			clear(c.l[j][:j+1])
			continue
		}
		c.used[j] = true
		c.rank++
		c.l[j][j] = math.Sqrt(rest)
		for i := j + 1; i < k; i++ {
			s := m[i][j]
			for a := range j {
				s -= float64(c.l[i][a] * c.l[j][a])
			}
			c.l[i][j] = s / c.l[j][j]
		}
	}
	return c
}

// solve returns m⁻¹·b.
func (c cholesky) solve(b []float64) []float64 {
	y := make([]float64, len(b))
	for j := range y {
		if !c.used[j] {
			continue
		}
		s := b[j]
		for a := range j {
			s -= float64(c.l[j][a] * y[a])
		}
		y[j] = s / c.l[j][j]
	}
	return c.back(y)
}

// back returns l⁻ᵀ·y.
func (c cholesky) back(y []float64) []float64 {
	x := make([]float64, len(y))
	for j := len(y) - 1; j >= 0; j-- {
		if !c.used[j] {
			continue
		}
		s := y[j]
		for i := j + 1; i < len(y); i++ {
			if c.used[i] {
				s -= float64(c.l[i][j] * x[i])
			}
		}
		x[j] = s / c.l[j][j]
	}
	return x
}

// draw adds normal noise with covariance scale²·m⁻¹ to b.
func (c cholesky) draw(b []float64, scale float64, random *rand.Rand) []float64 {
	z := make([]float64, len(b))
	for j := range z {
		if c.used[j] {
			z[j] = random.NormFloat64()
		}
	}
	out := c.back(z)
	for j := range out {
		out[j] = b[j] + float64(scale*out[j])
	}
	return out
}

// predict fills out with the linear predictor of the rows of a block.
func predict(b []float64, block [][]float64, out []float64) {
	for i := range out {
		out[i] = b[0]
	}
	for j, slope := range b[1:] {
		if slope == 0 {
			continue
		}
		for i, x := range block[j+1][:len(out)] {
			out[i] += float64(slope * x)
		}
	}
}

// predictMissing fills out with the linear predictor of the missing rows.
func (p regressionData) predictMissing(b []float64, out []float64) {
	block := p.room.columns(len(p.columns) + 1)
	for from := 0; from < len(p.missing); from += gatherRows {
		rows := p.missing[from:min(from+gatherRows, len(p.missing))]
		p.gather(rows, block)
		predict(b, block, out[from:from+len(rows)])
	}
}

// donor is an observation that predictive mean matching may take.
type donor struct{ fitted, value float64 }

// drawNumbers draws parameters from their posterior under a flat prior, and then
// values: predictions with noise, or observed values of rows whose prediction by
// the least-squares coefficients is near to the drawn one. They stand in the room
// until the next draw.
func (p regressionData) drawNumbers(values []float64, matching bool, random *rand.Rand) ([]float64, error) {
	k := len(p.columns) + 1
	block, sums := p.room.columns(k), newProducts(k)
	y := make([]float64, gatherRows)
	p.observed.blocks(func(_ int, rows []int32) {
		p.gather(rows, block)
		for i, row := range rows {
			y[i] = values[row]
		}
		sums.add(block, len(rows), nil, y, nil)
	})
	sums.mirror()
	c := factorise(sums.gram)
	df := p.observed.count() - c.rank
	if df < 1 {
		return nil, errors.New("too few observed values for the other variables")
	}
	b := c.solve(sums.xz)
	if matching {
		p.room.pool = resized(p.room.pool, p.observed.count())
	}
	var rss float64
	fitted := make([]float64, gatherRows)
	p.observed.blocks(func(from int, rows []int32) {
		p.gather(rows, block)
		predict(b, block, fitted[:len(rows)])
		for i, row := range rows {
			rss += float64((values[row] - fitted[i]) * (values[row] - fitted[i]))
			if matching {
				p.room.pool[from+i] = donor{fitted[i], values[row]}
			}
		}
	})
	sigma := math.Sqrt(rss / chiSquare(float64(df), random))
	p.room.drawn = resized(p.room.drawn, len(p.missing))
	drawn := p.room.drawn
	p.predictMissing(c.draw(b, sigma, random), drawn)
	if matching {
		match(p.room.pool, drawn, random)
		return drawn, nil
	}
	for i := range drawn {
		drawn[i] += float64(sigma * random.NormFloat64())
	}
	return drawn, nil
}

// chiSquare draws from chi-square: twice a gamma variate (Marsaglia and Tsang
// 2000, ACM Trans Math Softw 26:363-72).
func chiSquare(df float64, random *rand.Rand) float64 {
	shape := df / 2
	boost := 1.0
	if shape < 1 {
		boost = math.Pow(random.Float64(), 1/shape)
		shape++
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := random.NormFloat64()
		v := 1 + float64(c*x)
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(random.Float64()) < 0.5*float64(x*x)+d-float64(d*v)+float64(d*math.Log(v)) {
			return 2 * d * v * boost
		}
	}
}

// match puts in the place of each drawn prediction the value of one of the
// observations with the nearest fitted predictions, taken at random. It sorts the
// pool.
func match(pool []donor, drawn []float64, random *rand.Rand) {
	slices.SortFunc(pool, func(a, b donor) int {
		if a.fitted != b.fitted {
			return cmp.Compare(a.fitted, b.fitted)
		}
		return cmp.Compare(a.value, b.value)
	})
	wanted := min(donors, len(pool))
	for i, target := range drawn {
		high, _ := slices.BinarySearchFunc(pool, target, func(d donor, t float64) int { return cmp.Compare(d.fitted, t) })
		low := high // donors are pool[low:high]
		for high-low < wanted {
			if low > 0 && (high == len(pool) || target-pool[low-1].fitted <= pool[high].fitted-target) {
				low--
			} else {
				high++
			}
		}
		drawn[i] = pool[low+random.IntN(wanted)].value
	}
}
