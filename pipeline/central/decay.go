package central

import "math"

// decayFit is an exponential towards an asymptote, fitted to a diastole:
// P = asymptote + amplitude·exp(−rate·(t − from)), times counted from the foot.
type decayFit struct {
	from, to  float64
	x         []float64 // samples, step seconds apart
	e         []float64 // the exponential at the rate of the last try
	step      float64
	asymptote float64
	amplitude float64
	rate      float64
	bound     bool // the asymptote lies on a bound
}

// take collects the wave between from and to.
func (d *decayFit) take(p *period, foot float64) {
	n := int((d.to-d.from)/p.step) + 1
	d.step, d.x, d.e = p.step, make([]float64, n), make([]float64, n)
	for i := range d.x {
		d.x[i] = p.at(foot + d.from + float64(i)*p.step)
	}
}

// fit searches the rate on a logarithmic grid and then by golden section; it is
// false where the wave does not end lower than it began. The asymptote lies in
// [0, highest].
func (d *decayFit) fit(highest float64) bool {
	if !(d.x[len(d.x)-1] < d.x[0]) {
		return false
	}
	const grid = 25
	step := math.Log(fastestDecay/slowestDecay) / (grid - 1)
	best, at := math.Inf(1), 0
	for i := range grid {
		if sum := d.try(slowestDecay*math.Exp(float64(i)*step), highest); sum < best {
			best, at = sum, i
		}
	}
	low, high := float64(max(at-1, 0))*step, float64(min(at+1, grid-1))*step
	const golden = 0.6180339887498949
	misfit := func(u float64) float64 { return d.try(slowestDecay*math.Exp(u), highest) }
	a, b := high-float64(golden*(high-low)), low+float64(golden*(high-low))
	left, right := misfit(a), misfit(b)
	for range 40 {
		if left < right {
			high, b, right = b, a, left
			a = high - float64(golden*(high-low))
			left = misfit(a)
		} else {
			low, a, left = a, b, right
			b = low + float64(golden*(high-low))
			right = misfit(b)
		}
	}
	misfit((low + high) / 2)
	return true
}

// try fits asymptote and amplitude at a rate and returns the sum of squares.
func (d *decayFit) try(rate, highest float64) float64 {
	n := float64(len(d.x))
	se, see, sx, sex := 0.0, 0.0, 0.0, 0.0
	e, fall := 1.0, math.Exp(-rate*d.step)
	for i, x := range d.x {
		d.e[i] = e
		se += e
		see += float64(e * e)
		sx += x
		sex += float64(e * x)
		e *= fall
	}
	amplitude := (float64(n*sex) - float64(se*sx)) / (float64(n*see) - float64(se*se))
	asymptote := (sx - float64(amplitude*se)) / n
	d.bound = asymptote < 0 || asymptote > highest
	if d.bound {
		asymptote = min(max(asymptote, 0), highest)
		amplitude = (sex - float64(asymptote*se)) / see
	}
	d.rate, d.asymptote, d.amplitude = rate, asymptote, amplitude
	sum := 0.0
	for i, x := range d.x {
		r := x - asymptote - float64(amplitude*d.e[i])
		sum += float64(r * r)
	}
	return sum
}

// advance is one step of the reservoir at a systolic rate.
type advance struct{ ks, pull, rest, keep float64 }

func (d *decayFit) advance(ks, step float64) advance {
	k := ks + d.rate
	return advance{ks: ks, pull: ks / (2 * k), rest: float64(d.rate*d.asymptote) / k, keep: math.Exp(-k * step)}
}

// next takes the reservoir one step further: pressure a at its start, b at its
// end, the wave straight between.
func (s advance) next(reservoir, a, b float64) float64 {
	target := float64(s.pull*(a+b)) + s.rest
	return target + float64((reservoir-target)*s.keep)
}

// filling finds the smallest systolic rate at which the reservoir, started at
// dbp, meets the exponential at the end of ejection; false where none does. A
// very fast reservoir follows the falling wave itself and may be too low again.
func (d *decayFit) filling(x []float64, step, dbp float64) (float64, bool) {
	last := min(int(d.from/step), len(x)-2)
	want := d.asymptote + float64(d.amplitude*math.Exp(float64(d.rate*(d.from-float64(last)*step))))
	over := func(ks float64) float64 {
		reservoir, by := dbp, d.advance(ks, step)
		for j := range last {
			reservoir = by.next(reservoir, x[j], x[j+1])
		}
		return reservoir - want
	}
	low, high := 0.0, slowestFilling
	for !(over(high) > 0) {
		if low, high = high, high*1.25; high > fastestFilling {
			return math.NaN(), false
		}
	}
	for range 50 {
		if middle := (low + high) / 2; over(middle) < 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2, true
}
