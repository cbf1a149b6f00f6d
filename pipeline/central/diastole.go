package central

import "math"

// decayCount is how many time constants are tried for the decay.
const decayCount = 6

// decayTimes returns them, s: with a free asymptote they need not lie close.
func decayTimes() [decayCount]float64 { return [decayCount]float64{0.3, 0.5, 0.8, 1.2, 2, 4} }

// diastole is what the search needs of one wave: its harmonics and, at points
// of the diastole counted from the aortic foot, the trigonometric functions and
// the directions that an exponential decay with an asymptote may take.
type diastole struct {
	freedom  float64   // independent samples beyond the numbers of the decay
	hz       []float64 // of the harmonics
	cos, sin []float64 // amplitudes of the peripheral wave, band limit included
	foot     float64   // of the peripheral wave, s
	points   [diastolePoints]float64
	basis    []float64                              // cos and sin at the points, harmonic by harmonic
	decays   [decayCount][2][diastolePoints]float64 // orthonormal
	a, b     [diastolePoints]float64
}

// diastole prepares the search; the note says why there is none.
func (w *Workspace) diastole(wave []float64, length float64) (*diastole, string) {
	d := &w.decay
	rate := 60 / length
	from := ejectionBaseS - float64(ejectionSlopeS*rate) + ejectionSpareS
	duration := length - beforeNextFootS - from
	d.freedom = 2*rollOffFromHz*duration - fittedNumbers
	if !(d.freedom >= fewestFree) {
		return nil, NoteShortDiastole
	}
	p := period{wave: wave, step: length / float64(len(wave)), length: length}
	if !finite(wave) || len(wave) < 16 || !(p.extreme(+1).value > p.extreme(-1).value) {
		return nil, NoteNoIndividualFoot
	}
	c := w.curve(wave, length)
	d.foot, _, _ = c.foot(&p)
	d.hz = d.hz[:0]
	d.cos, d.sin = append(d.cos[:0], w.smooth.cos...), append(d.sin[:0], w.smooth.sin...)
	d.basis = resized(d.basis, 2*diastolePoints*len(d.cos))
	for i := range d.points {
		d.points[i] = from + duration*float64(i)/(diastolePoints-1)
	}
	for k := range d.cos {
		hz := float64(k+1) / length
		d.hz = append(d.hz, hz)
		at := d.basis[2*diastolePoints*k:]
		for i, t := range d.points {
			at[2*i+1], at[2*i] = math.Sincos(2 * math.Pi * hz * t)
		}
	}
	d.directions()
	return d, ""
}

// directions makes the constant and each exponential orthonormal.
func (d *diastole) directions() {
	level := 1 / math.Sqrt(diastolePoints)
	for m, tau := range decayTimes() {
		constant, decay := &d.decays[m][0], &d.decays[m][1]
		sum := 0.0
		for i, t := range d.points {
			constant[i] = level
			decay[i] = math.Exp(-(t - d.points[0]) / tau)
			sum += decay[i]
		}
		norm := 0.0
		for i := range decay {
			decay[i] -= sum / diastolePoints
			norm += float64(decay[i] * decay[i])
		}
		norm = math.Sqrt(norm)
		for i := range decay {
			decay[i] /= norm
		}
	}
}

// misfits fills out with the mean square departure of the aortic wave of a tube
// from the best exponential in diastole, for each reflection. The aortic wave is
// (a + Γ·b)/(1 + Γ), so its departure is a quadratic form in Γ.
func (d *diastole) misfits(tube SteppedTube, reflections, out []float64) {
	d.arriving(tube)
	for j := range out {
		out[j] = math.Inf(1)
	}
	aa, ab, bb := 0.0, 0.0, 0.0
	for i, a := range d.a {
		b := d.b[i]
		aa += float64(a * a)
		ab += float64(a * b)
		bb += float64(b * b)
	}
	for m := range d.decays {
		xx, xy, yy := aa, ab, bb
		for _, q := range &d.decays[m] {
			x, y := 0.0, 0.0
			for i, v := range q {
				x += float64(v * d.a[i])
				y += float64(v * d.b[i])
			}
			xx -= float64(x * x)
			xy -= float64(x * y)
			yy -= float64(y * y)
		}
		for j, g := range reflections {
			square := (xx + float64(2*g*xy) + float64(g*g*yy)) / (diastolePoints * float64((1+g)*(1+g)))
			out[j] = min(out[j], square)
		}
	}
	for j := range out {
		out[j] = max(out[j], math.SmallestNonzeroFloat64)
	}
}

// arriving fills a and b at the points of the diastole. Points count from the
// aortic foot, which lies the travel time before the peripheral one.
func (d *diastole) arriving(tube SteppedTube) {
	d.a, d.b = [diastolePoints]float64{}, [diastolePoints]float64{}
	shift := d.foot - tube.TravelS
	for k, hz := range d.hz {
		ahead, back := tube.waves(hz)
		s, c := math.Sincos(2 * math.Pi * hz * shift)
		ahead *= complex(c, s)
		back *= complex(c, s)
		x, y := d.cos[k], d.sin[k]
		ac, as := float64(x*real(ahead))+float64(y*imag(ahead)), float64(y*real(ahead))-float64(x*imag(ahead))
		bc, bs := float64(x*real(back))+float64(y*imag(back)), float64(y*real(back))-float64(x*imag(back))
		basis := d.basis[2*diastolePoints*k : 2*diastolePoints*(k+1)]
		for i := range d.a {
			c, s := basis[2*i], basis[2*i+1]
			d.a[i] += float64(ac*c) + float64(as*s)
			d.b[i] += float64(bc*c) + float64(bs*s)
		}
	}
}
