package impute

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
)

// Limits of the likelihood iteration.
const (
	levelIterations = 25
	levelTolerance  = 1e-8
)

// drawLevels draws parameters of a multinomial logit (of two levels: a logistic)
// model from their large-sample distribution, and then levels. So that a level
// that the others predict perfectly has finite parameters, some observations of
// small weight are added to the data: for each level and column one a standard
// deviation to either side of the mean, their weights together as many as the
// model has columns (White, Daniel and Royston 2010, Comput Stat Data Anal
// 54:2267-75; from memory).
func (p regressionData) drawLevels(values []float64, levels int, random *rand.Rand) ([]float64, error) {
	seen := make([]bool, levels)
	p.observed.blocks(func(_ int, rows []int32) {
		for _, row := range rows {
			seen[int(values[row])] = true
		}
	})
	var present []int // levels that occur; others are never drawn
	position := make([]int, levels)
	for level, there := range seen {
		if there {
			position[level] = len(present)
			present = append(present, level)
		}
	}
	if len(present) < 2 {
		return nil, errors.New("one level only is observed")
	}
	m := p.augmented(values, position, len(present))
	b, c, err := m.maximise()
	if err != nil {
		return nil, err
	}
	drawn := m.unpack(c.draw(b, 1, random))
	block := p.room.columns(len(p.columns) + 1)
	predictors, share := newBlock(len(present)), make([]float64, len(present))
	p.room.drawn = resized(p.room.drawn, len(p.missing))
	out := p.room.drawn
	for from := 0; from < len(out); from += gatherRows {
		rows := p.missing[from:min(from+gatherRows, len(out))]
		p.gather(rows, block)
		for k := 1; k < len(present); k++ {
			predict(drawn[k-1], block, predictors[k][:len(rows)])
		}
		for i := range rows {
			probabilities(predictors, i, share)
			u, k := random.Float64(), 0
			for k < len(share)-1 && u >= share[k] {
				u -= share[k]
				k++
			}
			out[from+i] = float64(present[k])
		}
	}
	return out, nil
}

// newBlock makes work columns of gatherRows rows.
func newBlock(columns int) [][]float64 {
	block := make([][]float64, columns)
	for j := range block {
		block[j] = make([]float64, gatherRows)
	}
	return block
}

// probabilities fills share with those of row i.
func probabilities(predictors [][]float64, i int, share []float64) {
	largest := math.Inf(-1)
	for k := range predictors {
		largest = max(largest, predictors[k][i])
	}
	total := 0.0
	for k := range share {
		share[k] = math.Exp(predictors[k][i] - largest)
		total += share[k]
	}
	for k := range share {
		share[k] /= total
	}
}

// logit is a multinomial logit model on the observed rows and, behind them, some
// of small weight.
type logit struct {
	data     regressionData
	values   []float64 // the variable, by row
	position []int     // by level: its number among those that occur
	levels   int       // that occur

	extra  [][]float64 // by column: values of the rows of small weight
	extraY []int
	small  float64 // the weight
}

// augmented adds rows of small weight to the observed ones.
func (p regressionData) augmented(values []float64, position []int, levels int) logit {
	k := len(p.columns)
	size := 2 * k * levels
	m := logit{data: p, values: values, position: position, levels: levels, extra: make([][]float64, k), small: float64(k+1) / float64(size)}
	for j, column := range p.columns {
		m.extra[j] = make([]float64, 0, size)
		centre, scale := spreadOf(func(yield func(float64) bool) {
			x := make([]float64, gatherRows)
			p.observed.blocks(func(_ int, rows []int32) {
				column.gather(rows, x)
				for i := range rows {
					yield(x[i])
				}
			})
		})
		for range levels {
			for other := range k {
				for _, side := range []float64{-1, 1} {
					v := centre
					if other == j {
						v += side * scale
					}
					m.extra[j] = append(m.extra[j], v)
				}
			}
		}
	}
	for level := range levels {
		for range 2 * k {
			m.extraY = append(m.extraY, level)
		}
	}
	return m
}

// blocks visits all rows, gatherRows at a time: their columns behind a leading
// one, levels and weights, in memory that is used again.
func (m logit) blocks(visit func(n int, block [][]float64, y []int, weight []float64)) {
	p := m.data
	block, y, weight := p.room.columns(len(p.columns)+1), make([]int, gatherRows), make([]float64, gatherRows)
	n, at := 0, 0
	more := func() { // rows of small weight
		for ; n < gatherRows && at < len(m.extraY); n++ {
			block[0][n] = 1
			for j, x := range m.extra {
				block[j+1][n] = x[at]
			}
			y[n], weight[n] = m.extraY[at], m.small
			at++
		}
	}
	p.observed.blocks(func(_ int, rows []int32) {
		p.gather(rows, block)
		for i, row := range rows {
			y[i], weight[i] = m.position[int(m.values[row])], 1
		}
		if n = len(rows); n == gatherRows { // else it is the last
			visit(n, block, y, weight)
			n = 0
		}
	})
	for more(); n > 0; more() {
		visit(n, block, y[:n], weight[:n])
		n = 0
	}
}

// unpack splits the coefficients by level, the first one left out.
func (m logit) unpack(b []float64) [][]float64 {
	k := len(m.data.columns) + 1
	out := make([][]float64, m.levels-1)
	for level := range out {
		out[level] = b[level*k : (level+1)*k]
	}
	return out
}

// maximise finds the coefficients of greatest likelihood by Newton's method, with
// steps halved that went too far, and the factor of the information there.
func (m logit) maximise() (b []float64, c cholesky, err error) {
	b = make([]float64, (len(m.data.columns)+1)*(m.levels-1))
	best, highest := slices.Clone(b), math.Inf(-1)
	for range levelIterations {
		information, score, likelihood := m.derivatives(b)
		if likelihood < highest-1e-9*math.Abs(highest) || math.IsNaN(likelihood) {
			for j := range b {
				b[j] = (b[j] + best[j]) / 2
			}
			continue
		}
		copy(best, b)
		highest = likelihood
		c = factorise(information)
		largest := 0.0
		for j, step := range c.solve(score) {
			b[j] += step
			largest = max(largest, math.Abs(step))
		}
		if largest < levelTolerance {
			return b, c, nil
		}
	}
	return nil, c, errors.New("the model of its levels does not converge")
}

// derivatives returns information, score and log likelihood at b.
func (m logit) derivatives(b []float64) (information [][]float64, score []float64, likelihood float64) {
	k := len(m.data.columns) + 1
	coefficients := m.unpack(b)
	var sums []products // by pair of levels above the first, the second not above the first
	for range m.levels * (m.levels - 1) / 2 {
		sums = append(sums, newProducts(k))
	}
	predictors, shares, work, share := newBlock(m.levels), newBlock(m.levels), newBlock(3), make([]float64, m.levels)
	w, z := work[0], work[1]
	m.blocks(func(n int, block [][]float64, y []int, weight []float64) {
		for level := 1; level < m.levels; level++ {
			predict(coefficients[level-1], block, predictors[level][:n])
		}
		for i := range n {
			probabilities(predictors, i, share)
			for level := range share {
				shares[level][i] = share[level]
			}
			likelihood += weight[i] * math.Log(share[y[i]])
		}
		pair := 0
		for a := 1; a < m.levels; a++ {
			for c := 1; c <= a; c++ {
				for i := range n {
					w[i] = -weight[i] * float64(shares[a][i]*shares[c][i])
					z[i] = 0
					if a == c {
						w[i] += weight[i] * shares[a][i]
						z[i] = -weight[i] * shares[a][i]
						if y[i] == a {
							z[i] += weight[i]
						}
					}
				}
				sums[pair].add(block, n, w, z, work[2])
				pair++
			}
		}
	})
	information, score = square(k*(m.levels-1)), make([]float64, k*(m.levels-1))
	pair := 0
	for a := 1; a < m.levels; a++ {
		for c := 1; c <= a; c++ {
			sums[pair].mirror()
			for r := range k {
				for s := range k {
					information[(a-1)*k+r][(c-1)*k+s] = sums[pair].gram[r][s]
					information[(c-1)*k+s][(a-1)*k+r] = sums[pair].gram[r][s]
				}
				if a == c {
					score[(a-1)*k+r] = sums[pair].xz[r]
				}
			}
			pair++
		}
	}
	return information, score, likelihood
}
