package simulate

import "math"

// device is a tonometer of a centre with its habits.
type device struct {
	id       string
	hz       float64
	layout   layout
	gainLow  float64 // units per mmHg
	gainHigh float64
	creep    float64 // drift of the zero over the calendar, units per day
}

// devicesOf lists the devices of a centre.
func devicesOf(centre string) []device {
	if centre == "hilltop" {
		return []device{
			{id: "HT-1", hz: 128, layout: layoutWFDB, gainLow: 0.5, gainHigh: 0.9},
			{id: "HT-2", hz: 128, layout: layoutPressure, gainLow: 0.8, gainHigh: 1.4},
		}
	}
	return []device{
		{id: "QS-1", hz: 256, layout: layoutTimed, gainLow: 0.9, gainHigh: 2.0},
		{id: "QS-2", hz: 256, layout: layoutZipped, gainLow: 0.7, gainHigh: 1.6, creep: 0.04},
	}
}

// restlessness says how much of a recording is spoilt.
type restlessness struct {
	noiseMMHg, mainsMMHg            float64
	breathMMHg, slopeMMHg, slowMMHg float64
	bumpChance, holdChance          float64 // per second
}

func newRestlessness(s stream) restlessness {
	r := restlessness{
		noiseMMHg: s.uniform(0.15, 0.5), mainsMMHg: s.uniform(0, 0.25),
		breathMMHg: s.uniform(0.4, 2.2), slopeMMHg: s.normal(0, 1.2), slowMMHg: s.uniform(0, 1.2),
		bumpChance: 0.02, holdChance: 0.004,
	}
	if s.chance(0.08) { // an uneasy person or a tired operator
		r.noiseMMHg *= 2
		r.bumpChance, r.holdChance = 0.15, 0.04
	}
	return r
}

// sense turns true radial pressure into what the sensor puts out, in its own
// units: it presses on the skin with an unknown gain and zero, both of which
// hold for one recording. The trace is changed in place.
func sense(wave []float64, hz, breathingHz float64, r restlessness, gain, offset float64, s stream) {
	n := float64(len(wave))
	breath, slow, mains := s.uniform(0, 2*math.Pi), s.uniform(0, 2*math.Pi), s.uniform(0, 2*math.Pi)
	for i := range wave {
		t := float64(i) / hz
		drift := r.breathMMHg*math.Sin(2*math.Pi*breathingHz*t+breath) + r.slopeMMHg*(2*float64(i)/n-1) +
			r.slowMMHg*math.Sin(2*math.Pi*0.04*t+slow)
		wave[i] += drift + r.mainsMMHg*math.Sin(2*math.Pi*50*t+mains) + r.noiseMMHg*s.NormFloat64()
	}
	disturb(wave, hz, r, s)
	for i := range wave {
		wave[i] = gain*wave[i] + offset
	}
}

// disturb adds knocks against the sensor, and moments in which it holds still.
func disturb(wave []float64, hz float64, r restlessness, s stream) {
	for second := range int(float64(len(wave)) / hz) {
		at := float64(second) + s.Float64()
		width, height := s.uniform(0.03, 0.15), s.uniform(15, 50)
		if s.chance(0.5) {
			height = -height
		}
		hold := s.uniform(0.3, 0.9)
		if s.chance(r.bumpChance) {
			for i := max(int((at-5*width)*hz), 0); i < min(int((at+5*width)*hz), len(wave)); i++ {
				z := (float64(i)/hz - at) / width
				wave[i] += height * math.Exp(-z*z/2)
			}
		}
		if s.chance(r.holdChance) {
			first := min(int(at*hz), len(wave)-1)
			for i := first; i < min(int((at+hold)*hz), len(wave)); i++ {
				wave[i] = wave[first]
			}
		}
	}
}

// The ways in which a recording of the scenario is broken; each makes the
// recording useless.
const (
	faultMissing   = "missing_file"
	faultFlat      = "flat_line"
	faultTruncated = "truncated"
	faultSaturated = "saturated"
	faultGarbage   = "garbage"
)

// drawFault breaks four recordings in a hundred.
func drawFault(s stream) string {
	if !s.chance(0.04) {
		return ""
	}
	return s.pick(faultMissing, faultFlat, faultTruncated, faultSaturated, faultGarbage)
}

// spoil applies the faults that act on the samples. The rest acts on the file.
func spoil(fault string, samples []float64) {
	low, high, mean := describe(samples)
	switch fault {
	case faultFlat:
		for i := range samples {
			samples[i] = mean
		}
	case faultSaturated:
		// The amplifier's range ends within the pulse.
		ceiling, floor := low+0.45*(high-low), low+0.2*(high-low)
		for i, v := range samples {
			samples[i] = max(min(v, ceiling), floor)
		}
	}
}
