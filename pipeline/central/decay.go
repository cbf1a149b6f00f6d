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
	d.step, d.x, d.e = p.step, resized(d.x, n), resized(d.e, n)
	p.from(foot+d.from, d.x)
}

// fit searches the rate on a logarithmic grid and then where the sum of squares
// is level, beside the best point of the grid; it is false where the wave does
// not end lower than it began. The asymptote lies in [0, highest].
func (d *decayFit) fit(highest float64) bool {
	if !(d.x[len(d.x)-1] < d.x[0]) {
		return false
	}
	const grid = 25
	step := math.Log(fastestDecay/slowestDecay) / (grid - 1)
	best, at := math.Inf(1), 0
	for i := range grid {
		if sum := d.nearly(slowestDecay*math.Exp(float64(i)*step), highest); sum < best {
			best, at = sum, i
		}
	}
	best = d.try(slowestDecay*math.Exp(float64(at)*step), highest)
	slope := func(u float64) float64 {
		d.try(slowestDecay*math.Exp(u), highest)
		return d.slope()
	}
	low, high := float64(max(at-1, 0))*step, float64(min(at+1, grid-1))*step
	if !(d.try(slowestDecay*math.Exp(crossing(slope, low, slope(low), high, slope(high))), highest) <= best) {
		d.try(slowestDecay*math.Exp(float64(at)*step), highest) // level in more than one place
	}
	return true
}

// slope has the sign of the derivative by the rate of the sum of squares that the
// last try found: where asymptote and amplitude are the best for each rate, what
// they change by does not count.
func (d *decayFit) slope() float64 {
	sum := 0.0
	for i, x := range d.x {
		r := x - d.asymptote - float64(d.amplitude*d.e[i])
		sum += float64(r*d.e[i]) * float64(i)
	}
	return d.amplitude * sum
}

// crossing finds where f, which rises through zero between low and high, is zero,
// by false position with the Illinois rule (Dowell and Jarratt 1971, DOI
// 10.1007/BF01934364); atLow and atHigh are its values there. Where f does not
// change its sign it is the end at which f is nearest to doing so: low for an f
// above zero, high for one below.
func crossing(f func(float64) float64, low, atLow, high, atHigh float64) float64 {
	if !(atLow < 0) {
		return low
	}
	if !(atHigh > 0) {
		return high
	}
	const most, precise = 100, 1e-13
	last := high
	side := 0 // how often in a row the same end moved: low +, high −
	for range most {
		x := low + float64((high-low)*(atLow/(atLow-atHigh)))
		if math.Abs(x-last) <= precise*math.Abs(x) || !(low < x && x < high) {
			return x
		}
		last = x
		switch y := f(x); {
		case y < 0:
			low, atLow = x, y
			if side = max(side, 0) + 1; side > 1 {
				atHigh /= 2
			}
		case y > 0:
			high, atHigh = x, y
			if side = min(side, 0) - 1; side < -1 {
				atLow /= 2
			}
		default:
			return x
		}
	}
	return last
}

// decaySums are what asymptote and amplitude at a rate follow from.
type decaySums struct{ n, e, ee, x, ex float64 }

// at fills the exponential of a rate and fits asymptote and amplitude.
func (d *decayFit) at(rate, highest float64) decaySums {
	s := decaySums{n: float64(len(d.x))}
	e, fall := 1.0, math.Exp(-rate*d.step)
	for i, x := range d.x {
		d.e[i] = e
		s.e += e
		s.ee += float64(e * e)
		s.x += x
		s.ex += float64(e * x)
		e *= fall
	}
	amplitude := (float64(s.n*s.ex) - float64(s.e*s.x)) / (float64(s.n*s.ee) - float64(s.e*s.e))
	asymptote := (s.x - float64(amplitude*s.e)) / s.n
	d.bound = asymptote < 0 || asymptote > highest
	if d.bound {
		asymptote = min(max(asymptote, 0), highest)
		amplitude = (s.ex - float64(asymptote*s.e)) / s.ee
	}
	d.rate, d.asymptote, d.amplitude = rate, asymptote, amplitude
	return s
}

// try fits asymptote and amplitude at a rate and returns the sum of squares.
func (d *decayFit) try(rate, highest float64) float64 {
	d.at(rate, highest)
	sum := 0.0
	for i, x := range d.x {
		r := x - d.asymptote - float64(d.amplitude*d.e[i])
		sum += float64(r * r)
	}
	return sum
}

// nearly returns the sum of squares at a rate less that of the wave about zero,
// worked out from sums: it loses digits, and tells the rates of a grid apart.
func (d *decayFit) nearly(rate, highest float64) float64 {
	s := d.at(rate, highest)
	a, b := d.asymptote, d.amplitude
	return float64(a*(float64(s.n*a)-2*s.x)) + float64(b*(float64(b*s.ee)-2*s.ex)) + float64(2*a*float64(b*s.e))
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
	atLow, atHigh := over(low), over(high)
	for !(atHigh > 0) {
		low, atLow = high, atHigh
		if high *= 1.25; high > fastestFilling {
			return math.NaN(), false
		}
		atHigh = over(high)
	}
	return crossing(over, low, atLow, high, atHigh), true
}
