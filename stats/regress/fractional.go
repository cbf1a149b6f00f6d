package regress

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
)

// FractionalPowers are the powers that a fractional polynomial may take; 0 stands
// for the logarithm (Royston and Altman 1994, Appl Stat 43:429-67).
func FractionalPowers() []float64 { return []float64{-2, -1, -0.5, 0, 0.5, 1, 2, 3} }

// FractionalPolynomial is a sum of up to two powers of (x + Shift)/Scale. Two
// equal powers p, p stand for the power and its product with the logarithm.
type FractionalPolynomial struct {
	Powers   []float64
	Shift    float64
	Scale    float64
	RSS      float64 // of the model it was fitted in
	Deviance float64 // −2 log likelihood with the error variance estimated by maximum likelihood
}

// FractionalScale returns the shift that makes x positive (its smallest step
// above minus its smallest value) and the power of ten that brings it near one (Royston and Sauerbrei 2008, Multivariable
// Model-building, 4.11; from memory).
func FractionalScale(x []float64) (shift, scale float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		low, high = min(low, v), max(high, v)
	}
	if low <= 0 {
		step := math.Inf(1)
		sorted := slices.Clone(x)
		slices.Sort(sorted)
		for i := 1; i < len(sorted); i++ {
			if sorted[i] > sorted[i-1] {
				step = min(step, sorted[i]-sorted[i-1])
			}
		}
		shift = step - low
	}
	size := math.Log10(high - low)
	return shift, math.Pow(10, math.Trunc(size))
}

// Columns evaluates the terms at x. A value at which they are not defined is an
// error.
func (p FractionalPolynomial) Columns(x []float64) ([][]float64, error) {
	out := newBlock(len(p.Powers), len(x))
	for i, v := range x {
		u := (v + p.Shift) / p.Scale
		if !(u > 0) {
			return nil, fmt.Errorf("regress: a fractional polynomial needs positive values, not %v in row %d", v, i)
		}
		for k, power := range p.Powers {
			out[k][i] = math.Pow(u, power)
			if power == 0 {
				out[k][i] = math.Log(u)
			}
			if k > 0 && power == p.Powers[k-1] {
				out[k][i] = float64(out[k-1][i] * math.Log(u))
			}
		}
	}
	return out, nil
}

// Names writes the terms as a person would.
func (p FractionalPolynomial) Names(name string) (out []string) {
	base := name
	if p.Shift != 0 {
		base = fmt.Sprintf("(%s%+g)", name, p.Shift)
	}
	if p.Scale != 1 {
		base = fmt.Sprintf("(%s/%g)", base, p.Scale)
	}
	for k, power := range p.Powers {
		term := base + "^" + strconv.FormatFloat(power, 'g', -1, 64)
		if power == 0 {
			term = "log " + base
		}
		if k > 0 && power == p.Powers[k-1] {
			term += " · log " + base
		}
		out = append(out, term)
	}
	return out
}

// AddFractional adds the terms of a fractional polynomial of x as one term.
func (d *Design) AddFractional(name string, x []float64, p FractionalPolynomial) error {
	columns, err := p.Columns(x)
	if err != nil {
		return err
	}
	d.AddTerm(name, p.Names(name), columns)
	return nil
}

// SelectFractional fits, beside the columns of d, every fractional polynomial of
// x with the given number of terms (1 or 2) and returns the one of least deviance
// together with all of them in the order of their powers. Equal deviances go to
// the first. x is shifted where it is not positive, and scaled by a power of ten.
func SelectFractional(d *Design, name string, x, y, weights []float64, terms int) (best FractionalPolynomial, all []FractionalPolynomial, err error) {
	if terms != 1 && terms != 2 {
		return best, nil, fmt.Errorf("regress: a fractional polynomial has 1 or 2 terms, not %d", terms)
	}
	shift, scale := FractionalScale(x)
	if !(scale > 0) {
		return best, nil, errors.New("regress: a fractional polynomial needs more than one value of its predictor")
	}
	best.Deviance = math.Inf(1)
	powers := FractionalPowers()
	try := func(chosen ...float64) error {
		p := FractionalPolynomial{Powers: chosen, Shift: shift, Scale: scale}
		model := *d
		model.names, model.terms = d.Names(), d.Terms()
		model.columns = append([]column(nil), d.columns...)
		if err := model.AddFractional(name, x, p); err != nil {
			return err
		}
		f, err := OLS(&model, y, weights)
		if err != nil {
			return err
		}
		n := float64(f.N)
		p.RSS = f.RSS
		p.Deviance = n * (1 + math.Log(2*math.Pi*f.RSS/n))
		if p.Deviance < best.Deviance {
			best = p
		}
		all = append(all, p)
		return nil
	}
	for i, first := range powers {
		if terms == 1 {
			if err := try(first); err != nil {
				return best, nil, err
			}
			continue
		}
		for _, second := range powers[i:] {
			if err := try(first, second); err != nil {
				return best, nil, err
			}
		}
	}
	return best, all, nil
}
