package central

import "math"

// decayFit is an exponential towards an asymptote, fitted to a diastole:
// P = asymptote + amplitude·exp(−rate·(t − from)), times counted from the foot.
type decayFit struct {
	from, to  float64
	x         []float64 // samples, step seconds apart
	total     float64   // their sum
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

// The grid of rates, logarithmic: so many together, whose sums need not wait for
// one another.
const (
	ratesTogether = 2
	rateGrid      = 12*ratesTogether + 1
)

var rateStep = math.Log(fastestDecay/slowestDecay) / (rateGrid - 1)

// decayRate is the rate so many steps of the grid above the slowest, times rateStep.
func decayRate(u float64) float64 { return slowestDecay * math.Exp(u) }

// fit searches the rate on a logarithmic grid and then where the sum of squares
// is level, beside the best point of the grid; it is false where the wave does
// not end lower than it began. The asymptote lies in [0, highest].
func (d *decayFit) fit(highest float64) bool {
	if !(d.x[len(d.x)-1] < d.x[0]) {
		return false
	}
	d.total = 0
	for _, x := range d.x {
		d.total += x
	}
	at := d.coarse(highest)
	best := d.try(decayRate(float64(at)*rateStep), highest)
	slope := func(u float64) float64 {
		d.at(decayRate(u), highest)
		return d.slope()
	}
	low, high := float64(max(at-1, 0))*rateStep, float64(min(at+1, rateGrid-1))*rateStep
	if !(d.try(decayRate(crossing(slope, low, slope(low), high, slope(high))), highest) <= best) {
		d.try(decayRate(float64(at)*rateStep), highest) // level in more than one place
	}
	return true
}

// coarse finds the best point of the grid.
func (d *decayFit) coarse(highest float64) int {
	best, at := math.Inf(1), 0
	for first := 0; first < rateGrid; first += ratesTogether {
		var rates [ratesTogether]float64
		for i := range rates {
			rates[i] = decayRate(float64(first+i) * rateStep)
		}
		for i, s := range d.sums(rates) {
			if first+i == rateGrid {
				break // beyond the grid
			}
			if sum := d.nearly(rates[i], s, highest); sum < best {
				best, at = sum, first+i
			}
		}
	}
	return at
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

// decaySums are what asymptote and amplitude at a rate follow from, beside the sum
// of the samples: of the exponential, its squares and its products with them.
type decaySums struct{ e, ee, ex float64 }

// sums works them out for some rates at once.
func (d *decayFit) sums(rates [ratesTogether]float64) [ratesTogether]decaySums {
	e0, e1 := 1.0, 1.0
	f0, f1 := math.Exp(-rates[0]*d.step), math.Exp(-rates[1]*d.step)
	var s0, s1 decaySums
	for _, x := range d.x {
		s0.e += e0
		s0.ee += float64(e0 * e0)
		s0.ex += float64(e0 * x)
		e0 *= f0
		s1.e += e1
		s1.ee += float64(e1 * e1)
		s1.ex += float64(e1 * x)
		e1 *= f1
	}
	return [ratesTogether]decaySums{s0, s1}
}

// at fills the exponential of a rate and fits asymptote and amplitude.
func (d *decayFit) at(rate, highest float64) {
	var s decaySums
	e, fall := 1.0, math.Exp(-rate*d.step)
	for i, x := range d.x {
		d.e[i] = e
		s.e += e
		s.ee += float64(e * e)
		s.ex += float64(e * x)
		e *= fall
	}
	d.solve(rate, s, highest)
}

// solve fits asymptote and amplitude.
func (d *decayFit) solve(rate float64, s decaySums, highest float64) {
	n := float64(len(d.x))
	amplitude := (float64(n*s.ex) - float64(s.e*d.total)) / (float64(n*s.ee) - float64(s.e*s.e))
	asymptote := (d.total - float64(amplitude*s.e)) / n
	d.bound = asymptote < 0 || asymptote > highest
	if d.bound {
		asymptote = min(max(asymptote, 0), highest)
		amplitude = (s.ex - float64(asymptote*s.e)) / s.ee
	}
	d.rate, d.asymptote, d.amplitude = rate, asymptote, amplitude
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
func (d *decayFit) nearly(rate float64, s decaySums, highest float64) float64 {
	d.solve(rate, s, highest)
	a, b := d.asymptote, d.amplitude
	return float64(a*(float64(float64(len(d.x))*a)-2*d.total)) + float64(b*(float64(b*s.ee)-2*s.ex)) + float64(2*a*float64(b*s.e))
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

// fillingTogether is how many systolic rates are tried at once: each step of a
// reservoir waits for the one before, and the processor goes on with the others.
const fillingTogether = 4

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
	low, atLow := 0.0, math.NaN()
	for next := 0.0; ; {
		var rates [fillingTogether]float64
		for i := range rates {
			rates[i] = next
			if next *= 1.25; next == 0 {
				next = slowestFilling
			}
		}
		for i, pressure := range d.filled(rates, x, last, step, dbp) {
			if rates[i] > fastestFilling {
				return math.NaN(), false
			}
			at := pressure - want
			if rates[i] > 0 && at > 0 {
				return crossing(over, low, atLow, rates[i], at), true
			}
			low, atLow = rates[i], at
		}
	}
}

// filled returns the pressure of the reservoir after so many steps, for some
// systolic rates.
func (d *decayFit) filled(rates [fillingTogether]float64, x []float64, steps int, step, dbp float64) [fillingTogether]float64 {
	r0, r1, r2, r3 := dbp, dbp, dbp, dbp
	b0, b1, b2, b3 := d.advance(rates[0], step), d.advance(rates[1], step), d.advance(rates[2], step), d.advance(rates[3], step)
	for j := range steps {
		from, to := x[j], x[j+1]
		r0, r1 = b0.next(r0, from, to), b1.next(r1, from, to)
		r2, r3 = b2.next(r2, from, to), b3.next(r3, from, to)
	}
	return [fillingTogether]float64{r0, r1, r2, r3}
}
