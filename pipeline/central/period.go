package central

import "math"

// period is one period of a wave: N samples, the first again after the last.
type period struct {
	wave         []float64
	step, length float64 // s
}

// point is a value at a time after the first sample.
type point struct{ at, value float64 }

// wrap brings a time into [0, length).
func (p *period) wrap(t float64) float64 {
	if t >= 0 && t < p.length {
		return t
	}
	if !(t > -p.length && t < p.length) { // else t is its own remainder
		t = math.Mod(t, p.length)
	}
	if t < 0 {
		t += p.length
	}
	if t >= p.length {
		return 0
	}
	return t
}

// since returns the time from one moment to the next occurrence of another.
func (p *period) since(from, to float64) float64 { return p.wrap(to - from) }

// at returns the wave at time t by the cubic through four samples.
func (p *period) at(t float64) float64 {
	n := len(p.wave)
	u := p.wrap(t) / p.step
	i := min(int(u), n-1)
	u -= float64(i)
	if i < 1 || i+2 >= n {
		return cubicThrough(p.wave[(i+n-1)%n], p.wave[i], p.wave[(i+1)%n], p.wave[(i+2)%n], u)
	}
	return cubicThrough(p.wave[i-1], p.wave[i], p.wave[i+1], p.wave[i+2], u)
}

// cubicThrough returns the cubic through four equidistant values, u steps after
// the second.
func cubicThrough(a, b, c, d, u float64) float64 {
	return float64(a*(-u*(u-1)*(u-2)/6)) + float64(b*((u+1)*(u-1)*(u-2)/2)) +
		float64(c*(-(u+1)*u*(u-2)/2)) + float64(d*((u+1)*u*(u-1)/6))
}

// extreme returns the highest (sign +1) or lowest (−1) point, refined by the
// parabola through the extreme sample and its neighbours.
func (p *period) extreme(sign float64) point {
	best, top := 0, sign*p.wave[0]
	for i, v := range p.wave {
		if sign*v > top {
			best, top = i, sign*v
		}
	}
	n := len(p.wave)
	shift, value := parabola(p.wave[(best+n-1)%n], p.wave[best], p.wave[(best+1)%n])
	return point{at: p.wrap((float64(best) + shift) * p.step), value: value}
}

// lowestBefore returns the lowest sample within a third of a period before t.
func (p *period) lowestBefore(t float64) float64 {
	n := len(p.wave)
	at := int(p.wrap(t)/p.step) % n
	low := math.Inf(1)
	for range n/3 + 1 {
		low = min(low, p.wave[at])
		if at--; at < 0 {
			at = n - 1
		}
	}
	return low
}

// valley returns the time of the lowest sample between two times that has no
// lower neighbour, refined by a parabola; it is false where there is none.
func (p *period) valley(from, to float64) (float64, bool) {
	n := len(p.wave)
	best, low := 0.0, math.Inf(1)
	for i := int(math.Ceil(from / p.step)); float64(i)*p.step <= to; i++ {
		j := (i%n + n) % n
		a, b, c := p.wave[(j+n-1)%n], p.wave[j], p.wave[(j+1)%n]
		if b <= a && b < c && b < low {
			shift, _ := parabola(a, b, c)
			best, low = (float64(j)+shift)*p.step, b
		}
	}
	return p.wrap(best), !math.IsInf(low, 1)
}

// integral returns the integral of the wave over a duration from a time on; the
// wave is straight between its samples.
func (p *period) integral(from, duration float64) float64 {
	n := len(p.wave)
	u := p.wrap(from) / p.step
	v := u + duration/p.step
	first, last := int(u), int(v)
	sum := 0.0
	at := first % n
	for i := first; i <= last; i++ {
		a := p.wave[at]
		if at++; at == n {
			at = 0
		}
		b := p.wave[at]
		if i > first && i < last {
			sum += a + float64((b-a)*0.5)
			continue
		}
		low, high := max(u-float64(i), 0), min(v-float64(i), 1)
		sum += float64(a*(high-low)) + float64((b-a)*0.5*(float64(high*high)-float64(low*low)))
	}
	return sum * p.step
}

// from fills out with the wave from time t on, a sample every step.
func (p *period) from(t float64, out []float64) {
	n := len(p.wave)
	u := p.wrap(t) / p.step
	i := min(int(u), n-1)
	u -= float64(i)
	a, b, c := p.wave[(i+n-1)%n], p.wave[i], p.wave[(i+1)%n]
	next := (i + 2) % n
	for j := range out {
		d := p.wave[next]
		if next++; next == n {
			next = 0
		}
		out[j] = cubicThrough(a, b, c, d, u)
		a, b, c = b, c, d
	}
}

// parabola returns where the parabola through three equidistant values has its
// extreme, in steps from the middle one, and its value there. Values that do
// not bend keep the middle one.
func parabola(a, b, c float64) (shift, value float64) {
	bend := a - 2*b + c
	if bend == 0 {
		return 0, b
	}
	shift = 0.5 * (a - c) / bend
	if shift < -1 || shift > 1 {
		return 0, b
	}
	return shift, b - 0.25*float64((a-c)*shift)
}
