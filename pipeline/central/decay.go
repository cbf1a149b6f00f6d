package central

import "math"

// decayFit is an exponential towards an asymptote, fitted to a diastole:
// P = asymptote + amplitude·exp(−rate·(t − from)), times counted from the foot.
type decayFit struct {
	from, to  float64
	t, x      []float64
	asymptote float64
	amplitude float64
	rate      float64
	bound     bool // the asymptote lies on a bound
}

// take collects the wave between from and to.
func (d *decayFit) take(p *period, foot float64) {
	n := int((d.to - d.from) / p.step)
	for i := range n + 1 {
		t := float64(i) * p.step
		d.t = append(d.t, t)
		d.x = append(d.x, p.at(foot+d.from+t))
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
	for range 40 {
		a, b := high-float64(golden*(high-low)), low+float64(golden*(high-low))
		if d.try(slowestDecay*math.Exp(a), highest) < d.try(slowestDecay*math.Exp(b), highest) {
			high = b
		} else {
			low = a
		}
	}
	d.try(slowestDecay*math.Exp((low+high)/2), highest)
	return true
}

// try fits asymptote and amplitude at a rate and returns the sum of squares.
func (d *decayFit) try(rate, highest float64) float64 {
	n := float64(len(d.t))
	se, see, sx, sex := 0.0, 0.0, 0.0, 0.0
	for i, t := range d.t {
		e := math.Exp(-rate * t)
		se += e
		see += float64(e * e)
		sx += d.x[i]
		sex += float64(e * d.x[i])
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
	for i, t := range d.t {
		r := d.x[i] - asymptote - float64(amplitude*math.Exp(-rate*t))
		sum += float64(r * r)
	}
	return sum
}

// next takes the reservoir one step further: pressure a at its start, b at its
// end, the wave straight between.
func (d *decayFit) next(reservoir, a, b, ks, step float64) float64 {
	k := ks + d.rate
	target := (float64(ks*(a+b)/2) + float64(d.rate*d.asymptote)) / k
	return target + float64((reservoir-target)*math.Exp(-k*step))
}

// filling finds the smallest systolic rate at which the reservoir, started at
// dbp, meets the exponential at the end of ejection; false where none does. A
// very fast reservoir follows the falling wave itself and may be too low again.
func (d *decayFit) filling(x []float64, step, dbp float64) (float64, bool) {
	last := min(int(d.from/step), len(x)-2)
	want := d.asymptote + float64(d.amplitude*math.Exp(float64(d.rate*(d.from-float64(last)*step))))
	over := func(ks float64) float64 {
		reservoir := dbp
		for j := range last {
			reservoir = d.next(reservoir, x[j], x[j+1], ks, step)
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
