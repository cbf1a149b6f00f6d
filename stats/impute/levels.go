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
	y := make([]int, len(p.observed))
	seen := make([]bool, levels)
	for i, row := range p.observed {
		y[i] = int(values[row])
		seen[y[i]] = true
	}
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
	for i := range y {
		y[i] = position[y[i]]
	}
	m := p.augmented(y, len(present))
	b, c, err := m.maximise()
	if err != nil {
		return nil, err
	}
	drawn := m.unpack(c.draw(b, 1, random))
	predictors := make([][]float64, len(present))
	predictors[0] = make([]float64, len(p.missing))
	for k := 1; k < len(present); k++ {
		predictors[k] = p.predict(drawn[k-1], p.missing)
	}
	out := make([]float64, len(p.missing))
	share := make([]float64, len(present))
	for i := range out {
		probabilities(predictors, i, share)
		u, k := random.Float64(), 0
		for k < len(share)-1 && u >= share[k] {
			u -= share[k]
			k++
		}
		out[i] = float64(present[k])
	}
	return out, nil
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

// logit is a multinomial logit model on rows of its own.
type logit struct {
	data   regressionData // every row observed
	y      []int
	weight []float64
	levels int
}

// augmented gathers the observed rows and adds those of small weight.
func (p regressionData) augmented(y []int, levels int) logit {
	n, k := len(p.observed), len(p.columns)
	extra := 2 * k * levels
	m := logit{levels: levels, y: make([]int, 0, n+extra), weight: make([]float64, 0, n+extra)}
	m.y = append(m.y, y...)
	for range n {
		m.weight = append(m.weight, 1)
	}
	centre, scale := make([]float64, k), make([]float64, k)
	m.data.columns = make([][]float64, k)
	for j, column := range p.columns {
		x := make([]float64, n, n+extra)
		for i, row := range p.observed {
			x[i] = column[row]
		}
		centre[j], scale[j] = spread(x)
		m.data.columns[j] = x
	}
	for level := range levels {
		for j := range k {
			for _, side := range []float64{-1, 1} {
				for other := range k {
					v := centre[other]
					if other == j {
						v += side * scale[j]
					}
					m.data.columns[other] = append(m.data.columns[other], v)
				}
				m.y = append(m.y, level)
				m.weight = append(m.weight, float64(k+1)/float64(extra))
			}
		}
	}
	m.data.observed = make([]int, len(m.y))
	for i := range m.data.observed {
		m.data.observed[i] = i
	}
	return m
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
	k, n := len(m.data.columns)+1, len(m.y)
	coefficients := m.unpack(b)
	predictors := make([][]float64, m.levels)
	predictors[0] = make([]float64, n)
	for level := 1; level < m.levels; level++ {
		predictors[level] = m.data.predict(coefficients[level-1], m.data.observed)
	}
	shares := make([][]float64, m.levels)
	for level := range shares {
		shares[level] = make([]float64, n)
	}
	share := make([]float64, m.levels)
	for i := range n {
		probabilities(predictors, i, share)
		for level := range share {
			shares[level][i] = share[level]
		}
		likelihood += m.weight[i] * math.Log(share[m.y[i]])
	}
	information, score = square(k*(m.levels-1)), make([]float64, k*(m.levels-1))
	w, z := make([]float64, n), make([]float64, n)
	for a := 1; a < m.levels; a++ {
		for c := 1; c <= a; c++ {
			for i := range n {
				w[i] = -m.weight[i] * float64(shares[a][i]*shares[c][i])
				z[i] = 0
				if a == c {
					w[i] += m.weight[i] * shares[a][i]
					z[i] = -m.weight[i] * shares[a][i]
					if m.y[i] == a {
						z[i] += m.weight[i]
					}
				}
			}
			gram, xz := m.data.products(w, z)
			for r := range k {
				for s := range k {
					information[(a-1)*k+r][(c-1)*k+s] = gram[r][s]
					information[(c-1)*k+s][(a-1)*k+r] = gram[r][s]
				}
				if a == c {
					score[(a-1)*k+r] = xz[r]
				}
			}
		}
	}
	return information, score, likelihood
}
